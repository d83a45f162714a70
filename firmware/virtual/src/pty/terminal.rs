//! One pseudo-terminal, raw and 8-bit clean, and the link to it.
//!
//! Enters: a link name. Leaves: bytes both ways, without ever waiting.

use super::PtyError;
use rustix::fs::{Mode, OFlags, fcntl_setfl, open};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, ioctl_tiocnxcl, tcgetattr, tcsetattr};
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};
use std::path::{Path, PathBuf};

/// A terminal that a host can open. Dropping it is pulling the cable.
#[derive(Debug)]
pub(super) struct Terminal {
    ours: OwnedFd,
    /// Kept open so that the settings stay and no hang-up comes between two
    /// hosts.
    theirs: OwnedFd,
    path: PathBuf,
    link: Option<PathBuf>,
}

impl Terminal {
    /// Opens a terminal and points the link to it.
    pub fn open(link: Option<&Path>) -> Result<Terminal, PtyError> {
        let fail = |doing| move |cause| PtyError::Terminal { doing, cause };
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let ours = openpt(flags).map_err(fail("open"))?;
        grantpt(&ours).map_err(fail("grant"))?;
        unlockpt(&ours).map_err(fail("unlock"))?;
        let name = ptsname(&ours, Vec::new()).map_err(fail("name"))?;
        let path = PathBuf::from(name.to_string_lossy().into_owned());
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let theirs = open(&path, flags, Mode::empty()).map_err(fail("open the far end of"))?;
        let mut termios = tcgetattr(&theirs).map_err(fail("look at"))?;
        termios.make_raw();
        tcsetattr(&theirs, OptionalActions::Now, &termios).map_err(fail("set up"))?;
        fcntl_setfl(&ours, OFlags::RDWR | OFlags::NONBLOCK).map_err(fail("set up"))?;
        let terminal = Terminal {
            ours,
            theirs,
            path,
            link: link.map(Path::to_path_buf),
        };
        terminal.make_link()?;
        Ok(terminal)
    }

    /// Makes the link in one step, so that it never points nowhere.
    fn make_link(&self) -> Result<(), PtyError> {
        let Some(link) = &self.link else {
            return Ok(());
        };
        let fail = |cause| PtyError::Link {
            path: link.clone(),
            cause,
        };
        let mut new = link.clone().into_os_string();
        new.push(format!(".{}", std::process::id()));
        std::os::unix::fs::symlink(&self.path, &new).map_err(fail)?;
        std::fs::rename(&new, link).map_err(fail)
    }

    pub fn path(&self) -> PathBuf {
        self.path.clone()
    }

    /// For waiting until bytes have come.
    pub fn fd(&self) -> BorrowedFd<'_> {
        self.ours.as_fd()
    }

    /// Bytes the host has written, as many as are there and fit.
    pub fn read(&self, into: &mut [u8]) -> Result<usize, PtyError> {
        match rustix::io::read(&self.ours, into) {
            Ok(count) => Ok(count),
            // EIO: no host has it open.
            Err(Errno::AGAIN | Errno::INTR | Errno::IO) => Ok(0),
            Err(cause) => Err(PtyError::Terminal {
                doing: "read",
                cause,
            }),
        }
    }

    /// Bytes for the host; how many the terminal took.
    pub fn write(&self, bytes: &[u8]) -> Result<usize, PtyError> {
        match rustix::io::write(&self.ours, bytes) {
            Ok(count) => Ok(count),
            Err(Errno::AGAIN | Errno::INTR | Errno::IO) => Ok(0),
            Err(cause) => Err(PtyError::Terminal {
                doing: "write",
                cause,
            }),
        }
    }

    /// Lets a new host open it after one that was killed while it held it for
    /// itself alone: on a real port the system does so when the last holder is
    /// gone, but here our own end keeps it open.
    pub fn let_others_open(&self) {
        // Cannot fail on an open terminal, and the next call tries again.
        let _ = ioctl_tiocnxcl(&self.theirs);
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        if let Some(link) = &self.link {
            // Only if it is still ours; a name that is gone is what we want.
            if std::fs::read_link(link).is_ok_and(|to| to == self.path) {
                let _ = std::fs::remove_file(link);
            }
        }
    }
}
