mod cloth;
mod keys;
mod made;
mod on_terminal;
mod plain;
mod screens;
