//! The neighbour of a file that is being written: `NAME.PROCESS.part`, locked while its process lives.
//!
//! A killed process leaves its part, but not its lock: the next run that writes NAME finds and removes it. A part of a folder is a folder
//! `NAME.PROCESS.part-new` beside such a file, and what it takes the place of is `NAME.PROCESS.part-old` for that moment.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Parts of this process, to be taken away if it ends at once.
static OPEN: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// A part, open and locked.
#[derive(Debug)]
pub struct Part {
    pub path: PathBuf,
    pub file: File,
}

impl Part {
    /// Makes the part of `target`, after removing what dead processes left of theirs.
    pub fn open(target: &Path) -> io::Result<Part> {
        sweep(target);
        let path = with_suffix(target, &format!(".{}.part", std::process::id()));
        let file = OpenOptions::new().write(true).create(true).truncate(true).open(&path)?;
        // A file system without locks only means that nobody can tell a dead part there.
        let _ = file.try_lock();
        OPEN.lock().unwrap_or_else(PoisonError::into_inner).push(path.clone());
        Ok(Part { path, file })
    }

    /// The folder that belongs to the part.
    pub fn new_folder(&self) -> PathBuf {
        with_suffix(&self.path, "-new")
    }

    pub fn old_folder(&self) -> PathBuf {
        with_suffix(&self.path, "-old")
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        // After a rename the part is gone; else nothing half-written may stay.
        remove(&self.path);
        OPEN.lock().unwrap_or_else(PoisonError::into_inner).retain(|known| *known != self.path);
    }
}

/// Removes all parts of this process; for a process that ends at once.
pub fn remove_open() {
    OPEN.lock().unwrap_or_else(PoisonError::into_inner).iter().for_each(|part| remove(part));
}

fn remove(part: &Path) {
    let (new, old) = (with_suffix(part, "-new"), with_suffix(part, "-old"));
    let _ = fs::remove_dir_all(new);
    if old.exists() {
        // Killed between two renames: what was there before comes back, unless the new one has taken its place.
        let target = target_of(part);
        if target.exists() || fs::rename(&old, &target).is_err() {
            let _ = fs::remove_dir_all(&old);
        }
    }
    let _ = fs::remove_file(part);
}

/// Removes the parts of `target` whose processes are gone.
fn sweep(target: &Path) {
    let (Some(name), Ok(listed)) = (target.file_name(), fs::read_dir(folder_of(target))) else { return };
    let start = format!("{}.", name.to_string_lossy());
    for entry in listed.flatten() {
        let found = entry.file_name();
        let found = found.to_string_lossy();
        let process = found.strip_prefix(&start).and_then(|rest| rest.strip_suffix(".part"));
        let ours = process.is_some_and(|p| !p.is_empty() && p.bytes().all(|b| b.is_ascii_digit()));
        if ours && OpenOptions::new().write(true).open(entry.path()).is_ok_and(|file| file.try_lock().is_ok())
        {
            remove(&entry.path());
        }
    }
}

/// The folder a path lies in.
pub fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name: OsString = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

fn target_of(part: &Path) -> PathBuf {
    // NAME.PROCESS.part
    part.with_extension("").with_extension("")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_of_the_dead_go_and_those_of_the_living_stay() {
        let folder = std::env::temp_dir().join(format!("readodds-part-{}", std::process::id()));
        fs::create_dir_all(&folder).unwrap();
        let target = folder.join("a.txt");
        for dead in ["a.txt.123.part", "a.txt.9x.part", "b.txt.123.part", "a.txt.part"] {
            fs::write(folder.join(dead), "half").unwrap();
        }
        fs::create_dir(folder.join("a.txt.123.part-new")).unwrap();
        fs::create_dir(folder.join("a.txt.123.part-old")).unwrap();
        let living = File::create(folder.join("a.txt.124.part")).unwrap();
        living.lock().unwrap();
        let part = Part::open(&target).unwrap();
        assert!(part.path.exists());
        drop(part);
        let mut left: Vec<String> =
            fs::read_dir(&folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        left.sort();
        // The folder that was there before came back under its name.
        assert_eq!(left, ["a.txt", "a.txt.124.part", "a.txt.9x.part", "a.txt.part", "b.txt.123.part"]);
        fs::remove_dir_all(&folder).unwrap();
    }
}
