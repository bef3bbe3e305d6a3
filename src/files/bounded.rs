//! Reading a file of the user: a regular file, and not beyond a size.

use std::fs::{File, metadata};
use std::io::{self, Read};
use std::path::Path;

/// Why a file is not read.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    #[error("cannot read the file: {0}")]
    Io(#[from] io::Error),
    #[error("this is a folder, not a file")]
    Folder,
    /// Opening a pipe waits for a writer, and a device may have no end.
    #[error("this is a pipe or a device, not a file")]
    NoFile,
    #[error("the file has {} MB, the limit is {} MB", bytes >> 20, most >> 20)]
    TooLarge { bytes: u64, most: u64 },
}

/// The bytes of a regular file of at most `most` bytes. What the file is, is looked at before it is opened.
pub fn read(path: &Path, most: u64) -> Result<Vec<u8>, Refused> {
    let found = metadata(path)?;
    if found.is_dir() {
        return Err(Refused::Folder);
    }
    if !found.is_file() {
        return Err(Refused::NoFile);
    }
    if found.len() > most {
        return Err(Refused::TooLarge { bytes: found.len(), most });
    }
    // It may grow meanwhile, and files of the system have no length: one byte beyond the limit is noticed.
    let mut bytes = Vec::new();
    File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    let length = bytes.len() as u64;
    if length > most { Err(Refused::TooLarge { bytes: length, most }) } else { Ok(bytes) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_edge_passes_and_one_byte_more_fails() {
        let path = std::env::temp_dir().join(format!("readodds-bounded-{}", std::process::id()));
        std::fs::write(&path, [7; 10]).unwrap();
        assert_eq!(read(&path, 10).unwrap(), [7; 10]);
        assert!(matches!(read(&path, 9), Err(Refused::TooLarge { bytes: 10, most: 9 })));
        assert!(matches!(read(&std::env::temp_dir(), 9), Err(Refused::Folder)));
        #[cfg(unix)]
        assert!(matches!(read(Path::new("/dev/zero"), 9), Err(Refused::NoFile)));
        std::fs::remove_file(&path).unwrap();
    }
}
