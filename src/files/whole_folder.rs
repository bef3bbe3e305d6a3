//! A folder of files that appears whole or not at all.
//!
//! It is made beside its place and moved there last; the folder it replaces stays beside it until then. Only files that this program wrote
//! are ever replaced (see `written`): a folder with anything else in it is refused, and one with files changed since is refused unless
//! forced.

use super::part::Part;
use super::written::{LIST, Whose, hash, list, text, whose};
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Name and content of each file.
pub type Files = Vec<(String, Vec<u8>)>;

/// Why a folder is not written.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    #[error("it is there and is not a folder")]
    NoFolder,
    #[error("it holds {0}, which readodds did not write")]
    Foreign(String),
    #[error("it holds {0}, which was changed after readodds wrote it")]
    Changed(String),
    #[error(transparent)]
    Io(#[from] io::Error),
}

/// A folder to be written, looked at before the work that fills it.
#[derive(Debug)]
pub struct WholeFolder {
    path: PathBuf,
    force: bool,
    part: Part,
}

impl WholeFolder {
    /// Makes sure that the folder can be written, that `room_bytes` fit the disk, and that nothing of the user's is in it. With `force`
    /// files of ours that were changed since do not count as the user's. Folders above it are made.
    pub fn claim(path: &Path, room_bytes: u64, force: bool) -> Result<WholeFolder, Refused> {
        let path = match fs::canonicalize(path) {
            Ok(path) => path,
            // Without a slash at its end, which would put the part into it.
            Err(_) => path.components().collect(),
        };
        look(&path, force)?;
        if let Some(above) = path.parent().filter(|above| !above.as_os_str().is_empty()) {
            fs::create_dir_all(above)?;
        }
        let mut part = Part::open(&path)?;
        let block = [0u8; 1 << 16];
        for _ in 0..room_bytes.div_ceil(block.len() as u64) {
            part.file.write_all(&block)?;
        }
        part.file.sync_all()?;
        Ok(WholeFolder { path, force, part })
    }

    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes the files as the folder; of what is there, files for whose names `keep` says so stay.
    pub fn replace(self, files: &Files, keep: impl Fn(&str) -> bool) -> Result<(), Refused> {
        look(&self.path, self.force)?;
        // The claim's room is given back for the files that were meant to have it.
        self.part.file.set_len(0)?;
        let new = self.part.new_folder();
        fs::create_dir_all(&new)?;
        let old_list = list(&self.path);
        let mut hashes = super::written::Hashes::new();
        for (name, kept_hash) in old_list.iter().filter(|(name, _)| keep(name)) {
            if self.path.join(name).is_file() {
                fs::copy(self.path.join(name), new.join(name))?;
                hashes.insert(name.clone(), kept_hash.clone());
            }
        }
        for (name, bytes) in files {
            write(&new.join(name), bytes)?;
            hashes.insert(name.clone(), hash(bytes));
        }
        write(&new.join(LIST), text(&hashes).as_bytes())?;
        let there = self.path.exists();
        if there {
            fs::set_permissions(&new, fs::metadata(&self.path)?.permissions())?;
            fs::rename(&self.path, self.part.old_folder())?;
        }
        // If this fails, dropping the part brings the old folder back.
        fs::rename(&new, &self.path)?;
        Ok(())
    }
}

fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = File::create(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Whether everything in the folder may go.
fn look(path: &Path, force: bool) -> Result<(), Refused> {
    if !path.exists() {
        return Ok(());
    }
    if !path.is_dir() {
        return Err(Refused::NoFolder);
    }
    let known = list(path);
    for entry in fs::read_dir(path)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name == LIST && entry.file_type()?.is_file() {
            continue;
        }
        let whose = if entry.file_type()?.is_file() { whose(path, &name, &known) } else { Whose::Foreign };
        match whose {
            Whose::Ours => {}
            Whose::Changed if force => {}
            Whose::Changed => return Err(Refused::Changed(name)),
            Whose::Foreign => return Err(Refused::Foreign(name)),
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn only_what_was_written_is_replaced() {
        let above = std::env::temp_dir().join(format!("readodds-folder-{}", std::process::id()));
        let folder = above.join("deep/figures");
        let put = |force, files: &[(&str, &str)]| {
            let files = files.iter().map(|(n, t)| ((*n).to_owned(), t.as_bytes().to_vec())).collect();
            let claimed = WholeFolder::claim(&folder, 100_000, force)?;
            claimed.replace(&files, |name| name.starts_with("other-"))
        };
        put(false, &[("a-1.svg", "one"), ("other-1.svg", "other")]).unwrap();
        put(false, &[("a-2.svg", "two")]).unwrap();
        assert_eq!(names(&folder), [LIST, "a-2.svg", "other-1.svg"]);
        fs::write(folder.join("a-2.svg"), "mine now").unwrap();
        assert!(matches!(put(false, &[("a-3.svg", "")]), Err(Refused::Changed(name)) if name == "a-2.svg"));
        put(true, &[("a-3.svg", "")]).unwrap();
        fs::write(folder.join("notes.txt"), "mine").unwrap();
        for force in [false, true] {
            assert!(matches!(put(force, &[]), Err(Refused::Foreign(name)) if name == "notes.txt"));
        }
        assert_eq!(names(&folder), [LIST, "a-3.svg", "notes.txt", "other-1.svg"]);
        assert_eq!(names(folder.parent().unwrap()), ["figures"], "a part was left");
        fs::remove_dir_all(&above).unwrap();
    }
}
