//! One process at a time: a file `NAME.lock` beside NAME, locked by the operating system while the process lives.
//!
//! A killed process leaves the file behind but not the lock, so the next one takes it over. Locks of the operating system hold
//! between the processes of one machine, and on network file systems that pass them on.

use std::fs::{File, OpenOptions, TryLockError, remove_file};
use std::io;
use std::path::{Path, PathBuf};

/// Why there is no lock.
#[derive(Debug, thiserror::Error)]
pub enum NotLocked {
    #[error("another process is at work on it")]
    Busy,
    #[error(transparent)]
    Io(#[from] io::Error),
}

/// Held until dropped.
#[derive(Debug)]
pub struct Lock {
    path: PathBuf,
    _file: Option<File>,
}

impl Lock {
    /// Takes the lock of `path`. Where the file system knows no locks there is none, and `is_held` says so.
    pub fn take(path: &Path) -> Result<Lock, NotLocked> {
        let mut name = path.as_os_str().to_owned();
        name.push(".lock");
        let lock = PathBuf::from(name);
        loop {
            let file = OpenOptions::new().write(true).create(true).truncate(false).open(&lock)?;
            match file.try_lock() {
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => return Err(NotLocked::Busy),
                Err(TryLockError::Error(_)) => return Ok(Lock { path: lock, _file: None }),
            }
            // Whoever held it before may have removed the file between our opening and our locking.
            if same(&file, &lock) {
                return Ok(Lock { path: lock, _file: Some(file) });
            }
        }
    }

    pub fn is_held(&self) -> bool {
        self._file.is_some()
    }
}

#[cfg(unix)]
fn same(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let of = |found: io::Result<std::fs::Metadata>| found.map(|m| (m.dev(), m.ino())).ok();
    of(file.metadata()) == of(path.metadata())
}

/// An open file cannot be removed there.
#[cfg(not(unix))]
fn same(_: &File, _: &Path) -> bool {
    true
}

impl Drop for Lock {
    fn drop(&mut self) {
        // While it is still locked: nobody else can believe to hold it.
        if self.is_held() {
            let _ = remove_file(&self.path);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_one_is_refused_until_the_first_is_gone() {
        let path = std::env::temp_dir().join(format!("readodds-lock-{}", std::process::id()));
        let first = Lock::take(&path).unwrap();
        assert!(first.is_held());
        assert!(matches!(Lock::take(&path), Err(NotLocked::Busy)));
        drop(first);
        // What a killed process left is no obstacle.
        let left = path.with_extension("lock");
        std::fs::write(&left, "").unwrap();
        assert!(Lock::take(&path).unwrap().is_held());
        assert!(!PathBuf::from(format!("{}.lock", path.display())).exists());
        let _ = std::fs::remove_file(left);
    }
}
