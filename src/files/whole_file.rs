//! Files that appear whole or not at all.
//!
//! The text goes to a part beside the file, is flushed to the disk and renamed over it, and the folder is flushed too. Whoever reads the file
//! sees the old whole file or the new whole file, whenever the process is killed. A link is followed: what it points to is replaced, with
//! the permissions it has.

use super::part::{Part, folder_of};
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// A file to be replaced as a whole, claimed before the work that fills it.
#[derive(Debug)]
pub struct WholeFile {
    path: PathBuf,
    /// A part full of zeros that holds the room for the result.
    held: Option<Part>,
}

/// More room than this is not probed for.
const MOST_ROOM_BYTES: u64 = 256 << 20;

impl WholeFile {
    /// Makes sure that `path` can be written and that `room_bytes` fit the disk, before a long run.
    pub fn claim(path: &Path, room_bytes: u64) -> io::Result<WholeFile> {
        let claimed = WholeFile { path: real(path)?, held: None };
        claimed.probe(room_bytes)?;
        Ok(claimed)
    }

    /// The same, and the room stays taken until the result takes its place.
    pub fn hold(path: &Path, room_bytes: u64) -> io::Result<WholeFile> {
        let path = real(path)?;
        let mut part = Part::open(&path)?;
        fill(&mut part.file, room_bytes)?;
        Ok(WholeFile { path, held: Some(part) })
    }

    /// Whether the file can be written and `room_bytes` fit the disk.
    pub fn probe(&self, room_bytes: u64) -> io::Result<()> {
        fill(&mut Part::open(&self.path)?.file, room_bytes)
    }

    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Replaces the file by what `fill` writes. On failure the old file stays.
    pub fn replace(&mut self, fill: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> io::Result<()> {
        use std::io::Seek;
        let part = match self.held.take() {
            Some(part) => part,
            None => Part::open(&self.path)?,
        };
        // Over the zeros of the claim, whose room is ours already.
        (&part.file).rewind()?;
        let mut out = BufWriter::new(&part.file);
        fill(&mut out)?;
        out.into_inner().map_err(io::IntoInnerError::into_error)?;
        let length = (&part.file).stream_position()?;
        part.file.set_len(length)?;
        if let Ok(old) = fs::metadata(&self.path) {
            part.file.set_permissions(old.permissions())?;
        }
        part.file.sync_all()?;
        fs::rename(&part.path, &self.path)?;
        // A file system that cannot flush a folder (some network ones) has still renamed the file.
        let _ = File::open(folder_of(&self.path)).and_then(|folder| folder.sync_all());
        Ok(())
    }
}

/// Zeros are really written: a file with a hole would claim nothing.
fn fill(file: &mut File, room_bytes: u64) -> io::Result<()> {
    let block = [0u8; 1 << 16];
    let mut left = room_bytes.min(MOST_ROOM_BYTES);
    while left > 0 {
        let now = left.min(block.len() as u64);
        file.write_all(&block[..now as usize])?;
        left -= now;
    }
    file.sync_all()
}

/// What is to be replaced: a link is followed, and neither folder nor device nor pipe is.
fn real(path: &Path) -> io::Result<PathBuf> {
    if path.is_dir() {
        return Err(io::Error::new(io::ErrorKind::IsADirectory, "it is a folder; name a file"));
    }
    // A rename would put a file in the place of a device or a pipe.
    if path.exists() && !path.is_file() {
        return Err(io::Error::new(io::ErrorKind::InvalidInput, "it is a device or a pipe; name a file"));
    }
    match fs::canonicalize(path) {
        Ok(path) => Ok(path),
        Err(_) if fs::symlink_metadata(path).is_ok() => {
            Err(io::Error::new(io::ErrorKind::NotFound, "it is a link that leads nowhere; name a file"))
        }
        Err(_) => Ok(path.to_owned()),
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
        let mut file = WholeFile::claim(&path, 100_000).unwrap();
        assert!(!path.exists());
        file.replace(|out| out.write_all(b"old")).unwrap();
        let failed = file.replace(|out| {
            out.write_all(b"half of the new")?;
            Err(io::Error::other("disk full"))
        });
        assert!(failed.is_err());
        assert_eq!(fs::read(&path).unwrap(), b"old");
        let mut held = WholeFile::hold(&path, 100_000).unwrap();
        held.replace(|out| out.write_all(b"new")).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"new");
        drop((file, held));
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 1, "a part was left");
        assert!(WholeFile::claim(&folder, 0).is_err(), "a folder is no file");
        assert!(WholeFile::claim(&folder.join("none/rows"), 0).is_err());
        fs::remove_dir_all(&folder).unwrap();
    }

    #[cfg(unix)]
    #[test]
    fn permissions_are_kept_and_links_followed() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let folder = std::env::temp_dir().join(format!("readodds-mode-{}", std::process::id()));
        fs::create_dir_all(&folder).unwrap();
        let (file, link, nowhere) = (folder.join("a"), folder.join("b"), folder.join("c"));
        fs::write(&file, "old").unwrap();
        fs::set_permissions(&file, fs::Permissions::from_mode(0o640)).unwrap();
        symlink(&file, &link).unwrap();
        symlink(folder.join("missing"), &nowhere).unwrap();
        WholeFile::hold(&link, 10).unwrap().replace(|out| out.write_all(b"new")).unwrap();
        assert_eq!(fs::read(&file).unwrap(), b"new");
        assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o640);
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert!(WholeFile::hold(&nowhere, 10).is_err());
        fs::remove_dir_all(&folder).unwrap();
    }
}
