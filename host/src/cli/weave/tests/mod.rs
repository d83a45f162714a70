mod cloth;
mod keys;
mod made;
mod on_terminal;
mod screens;
