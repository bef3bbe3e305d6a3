//! Files that appear whole or not at all.
//!
//! The text goes to a neighbour `NAME.PROCESS.part`, is flushed to the disk and renamed over NAME, and the folder is flushed
//! too. Whoever reads NAME sees the old whole file or the new whole file, whenever the process is killed. A killed process
//! may leave its `.part`; nothing ever reads it.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// A file to be replaced as a whole, claimed before the work that fills it.
#[derive(Debug)]
pub struct WholeFile {
    path: PathBuf,
    part: PathBuf,
}

/// More room than this is not probed for.
const MOST_ROOM_BYTES: u64 = 256 << 20;

impl WholeFile {
    /// Makes sure that `path` can be written and that `room_bytes` fit the disk, before a long run.
    pub fn claim(path: &Path, room_bytes: u64) -> io::Result<WholeFile> {
        if path.is_dir() {
            return Err(io::Error::new(io::ErrorKind::IsADirectory, "it is a folder; name a file"));
        }
        // A rename would put a file in the place of a device or a pipe.
        if path.exists() && !path.is_file() {
            return Err(io::Error::new(io::ErrorKind::InvalidInput, "it is a device or a pipe; name a file"));
        }
        // What a link points to is replaced, not the link.
        let path = &fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let mut part = path.as_os_str().to_owned();
        part.push(format!(".{}.part", std::process::id()));
        let claimed = WholeFile { path: path.to_owned(), part: PathBuf::from(part) };
        claimed.probe(room_bytes)?;
        Ok(claimed)
    }

    /// Whether the file can be written and `room_bytes` fit the disk.
    pub fn probe(&self, room_bytes: u64) -> io::Result<()> {
        // Zeros are really written: a file with a hole would claim nothing.
        let mut file = File::create(&self.part)?;
        let block = [0u8; 1 << 16];
        let mut left = room_bytes.min(MOST_ROOM_BYTES);
        while left > 0 {
            let now = left.min(block.len() as u64);
            file.write_all(&block[..now as usize])?;
            left -= now;
        }
        file.sync_all()?;
        drop(file);
        fs::remove_file(&self.part)
    }

    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Replaces the file by what `fill` writes. On failure the old file stays.
    pub fn replace(&self, fill: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> io::Result<()> {
        let mut out = BufWriter::new(File::create(&self.part)?);
        fill(&mut out)?;
        out.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()?;
        fs::rename(&self.part, &self.path)?;
        let folder = self.path.parent().filter(|parent| !parent.as_os_str().is_empty());
        // A file system that cannot flush a folder (some network ones) has still renamed the file.
        let _ = File::open(folder.unwrap_or(Path::new("."))).and_then(|folder| folder.sync_all());
        Ok(())
    }
}

impl Drop for WholeFile {
    fn drop(&mut self) {
        // After a successful write the part is gone; after a failure nothing half-written may stay.
        let _ = fs::remove_file(&self.part);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_write_leaves_the_old_file() {
        let folder = std::env::temp_dir().join(format!("readodds-whole-{}", std::process::id()));
        fs::create_dir_all(&folder).unwrap();
        let path = folder.join("rows");
        let file = WholeFile::claim(&path, 100_000).unwrap();
        assert!(!path.exists());
        file.replace(|out| out.write_all(b"old")).unwrap();
        let failed = file.replace(|out| {
            out.write_all(b"half of the new")?;
            Err(io::Error::other("disk full"))
        });
        assert!(failed.is_err());
        assert_eq!(fs::read(&path).unwrap(), b"old");
        drop(file);
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 1, "a part was left");
        assert!(WholeFile::claim(&folder, 0).is_err(), "a folder is no file");
        assert!(WholeFile::claim(&folder.join("none/rows"), 0).is_err());
        fs::remove_dir_all(&folder).unwrap();
    }
}
