//! Which files this program wrote: `.readodds-written` in their folder, a line `SHA-256  NAME` each, as `sha256sum -c` reads them.
//!
//! A file whose content still has the hash noted there is ours and may be replaced; one that was changed since, or that is not listed,
//! is the user's.

use super::bounded;
use super::part::folder_of;
use super::whole_file::WholeFile;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::io;
use std::path::Path;

/// The list's own name.
pub const LIST: &str = ".readodds-written";
/// A longer list is none of ours.
const MOST_LIST_BYTES: u64 = 4 << 20;

/// Names in a folder with the hash of what was written there.
pub type Hashes = BTreeMap<String, String>;

/// What a file is to us.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    /// Written by this program and untouched since.
    Ours,
    /// Written by this program, and changed since.
    Changed,
    Foreign,
}

/// The list of a folder; empty where there is none.
pub fn list(folder: &Path) -> Hashes {
    let bytes = bounded::read(&folder.join(LIST), MOST_LIST_BYTES).unwrap_or_default();
    let text = String::from_utf8_lossy(&bytes);
    let line = |line: &str| line.split_once("  ").map(|(hash, name)| (name.to_owned(), hash.to_owned()));
    text.lines().filter_map(line).collect()
}

/// The list as text.
pub fn text(hashes: &Hashes) -> String {
    hashes.iter().map(|(name, hash)| format!("{hash}  {name}\n")).collect()
}

/// Whose the file of that name in the folder is, by the folder's list.
pub fn whose(folder: &Path, name: &str, list: &Hashes) -> Whose {
    match list.get(name) {
        None => Whose::Foreign,
        Some(hash) if hash_of_file(&folder.join(name)).is_ok_and(|found| found == *hash) => Whose::Ours,
        Some(_) => Whose::Changed,
    }
}

/// Whose a single file is.
pub fn whose_file(path: &Path) -> Whose {
    let folder = folder_of(path);
    whose(folder, &name_of(path), &list(folder))
}

/// Notes that this program wrote `bytes` as `path`. Names that are gone are left out of the list.
pub fn note(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = folder_of(path);
    let mut hashes = list(folder);
    hashes.retain(|name, _| folder.join(name).is_file());
    hashes.insert(name_of(path), hash(bytes));
    WholeFile::claim(&folder.join(LIST), 0)?.replace(|out| out.write_all(text(&hashes).as_bytes()))
}

/// SHA-256 in hexadecimal.
pub fn hash(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hash_of_file(path: &Path) -> io::Result<String> {
    let mut digest = Sha256::new();
    io::copy(&mut std::fs::File::open(path)?, &mut digest)?;
    Ok(hex(&digest.finalize()))
}

/// Bytes as lower-case hexadecimal digits.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn name_of(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_by_the_user_makes_it_theirs() {
        let folder = std::env::temp_dir().join(format!("readodds-written-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let path = folder.join("a b.txt");
        std::fs::write(&path, "one").unwrap();
        assert_eq!(whose_file(&path), Whose::Foreign);
        note(&path, b"one").unwrap();
        assert_eq!(whose_file(&path), Whose::Ours);
        std::fs::write(&path, "two").unwrap();
        assert_eq!(whose_file(&path), Whose::Changed);
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
