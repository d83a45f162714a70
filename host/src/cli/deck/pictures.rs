//! The pictures that a deck command draws.
//!
//! Enters: the files that were asked for, then what they hold. Leaves: all of them, or
//! none. Refuses: a name of another kind of file, one file asked for twice, a file that
//! the command reads, an older file in the way.

use crate::output;
use crate::words::one_line;
use anyhow::{Result, bail};
use std::io::Write;
use std::path::{Path, PathBuf};

/// A file that was asked for, and the ending that its name must have.
pub(super) type Asked<'a> = (&'a Path, &'a str);

/// Whether all of these can be written, beside the files that are read.
pub(super) fn may_write(asked: &[Asked<'_>], read: &[&Path], force: bool) -> Result<()> {
    for (place, (file, ending)) in asked.iter().enumerate() {
        if file.extension().is_none_or(|found| found != *ending) {
            bail!(
                "pictures are written as {}, and {} does not end in .{ending}; write {}",
                ending.to_uppercase(),
                file.display(),
                file.with_extension(ending).display()
            );
        }
        let own = whole(file);
        if read.iter().any(|other| whole(other) == own) {
            bail!(
                "{} is read by this command, and would be written over; choose another name for \
                 the picture",
                file.display()
            );
        }
        if asked[..place].iter().any(|(other, _)| whole(other) == own) {
            bail!(
                "{} was given for two pictures; choose a name for each",
                file.display()
            );
        }
        output::may_write(file, force)?;
    }
    Ok(())
}

/// Writes them. Leaves their names.
pub(super) fn write(made: &[(&Path, Vec<u8>)], force: bool) -> Result<Vec<String>> {
    output::all(made, force)?;
    let name = |(file, _): &(&Path, Vec<u8>)| file.display().to_string();
    Ok(made.iter().map(name).collect())
}

/// Tells of what was written.
pub(super) fn tell(written: &[String], out: &mut dyn Write) -> Result<()> {
    for file in written {
        writeln!(out, "wrote {}", one_line(file))?;
    }
    Ok(())
}

/// The one name of a file that may not be there yet.
fn whole(file: &Path) -> PathBuf {
    let in_folder = || {
        let folder = output::folder(file).canonicalize().ok()?;
        Some(folder.join(file.file_name()?))
    };
    let found = file.canonicalize().ok().or_else(in_folder);
    found.unwrap_or_else(|| file.to_owned())
}
