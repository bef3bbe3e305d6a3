//! Names the build by its sources: SHA-256 over `src`, `Cargo.toml`, `Cargo.lock` and this file, so that rows of worlds made by one build are never mixed
//! with those of another. Needs neither git nor a clock; line ends do not count.

use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

fn main() {
    let root = PathBuf::from(std::env::var_os("CARGO_MANIFEST_DIR").expect("cargo sets it"));
    let mut files: Vec<PathBuf> = ["Cargo.toml", "Cargo.lock", "build.rs"].map(PathBuf::from).to_vec();
    list(&root, Path::new("src"), &mut files);
    files.sort();
    let mut digest = Sha256::new();
    for file in &files {
        println!("cargo::rerun-if-changed={}", file.display());
        // A package may come without its lock file.
        let Ok(mut bytes) = std::fs::read(root.join(file)) else { continue };
        bytes.retain(|byte| *byte != b'\r');
        let name = file.to_string_lossy().replace('\\', "/");
        digest.update(format!("{name}\n{}\n", bytes.len()));
        digest.update(&bytes);
    }
    // A new file in a folder changes the folder.
    println!("cargo::rerun-if-changed=src");
    let hash: String = digest.finalize().iter().take(16).map(|byte| format!("{byte:02x}")).collect();
    println!("cargo::rustc-env=READODDS_BUILD={hash}");
}

fn list(root: &Path, folder: &Path, files: &mut Vec<PathBuf>) {
    let listed = std::fs::read_dir(root.join(folder)).expect("the sources lie beside this file");
    for entry in listed.flatten() {
        let path = folder.join(entry.file_name());
        match entry.file_type() {
            Ok(kind) if kind.is_dir() => list(root, &path, files),
            _ => files.push(path),
        }
    }
}
