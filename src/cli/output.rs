//! Where a result goes: stdout, or a file written whole or not at all.

use super::failure::Failure;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// A place for the result, probed before a long run.
pub enum Output {
    Stdout,
    File { path: PathBuf, part: PathBuf },
}

/// Room claimed for a result before the run; the largest page of the demo scenarios is a quarter of it.
const ROOM_BYTES: usize = 2 << 20;

/// Writes zeros, since a file with a hole would claim nothing, and keeps them until the result takes their place.
fn claim(part: &Path) -> std::io::Result<()> {
    let mut file = fs::File::create(part)?;
    file.write_all(&vec![0; ROOM_BYTES])?;
    file.sync_all()
}

impl Output {
    /// Opens the file's temporary neighbour at once and fills it with zeros, so that an unwritable folder or a full disk is found
    /// before the run.
    pub fn open(path: Option<&Path>) -> Result<Output, Failure> {
        let Some(path) = path else { return Ok(Output::Stdout) };
        if path.as_os_str() == "-" {
            return Ok(Output::Stdout);
        }
        if path.is_dir() {
            return Err(Failure::Usage(format!(
                "cannot write {}: it is a folder; name a file",
                path.display()
            )));
        }
        let mut part = path.as_os_str().to_owned();
        part.push(format!(".{}.part", std::process::id()));
        let part = PathBuf::from(part);
        // Made first, so that a claim that fails half-way is tidied up.
        let output = Output::File { path: path.to_owned(), part: part.clone() };
        claim(&part).map_err(|e| {
            Failure::Usage(format!("cannot write {}: {e}; choose another place", path.display()))
        })?;
        Ok(output)
    }

    /// Writes the whole result; a file appears under its name only when complete.
    pub fn write(&self, text: &str) -> Result<(), Failure> {
        match self {
            Output::Stdout => match std::io::stdout().lock().write_all(text.as_bytes()) {
                // A reader that went away (head, less) is no error of ours.
                Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
                    Err(Failure::Internal(format!("cannot write to stdout: {e}")))
                }
                _ => Ok(()),
            },
            Output::File { path, part } => {
                let whole = || -> std::io::Result<()> {
                    // Over the zeros of the claim, whose room is ours already.
                    let mut file = fs::File::options().write(true).create(true).truncate(false).open(part)?;
                    file.write_all(text.as_bytes())?;
                    file.set_len(text.len() as u64)?;
                    file.sync_all()?;
                    fs::rename(part, path)
                };
                whole().map_err(|e| Failure::Internal(format!("cannot write {}: {e}", path.display())))
            }
        }
    }
}

impl Drop for Output {
    fn drop(&mut self) {
        if let Output::File { part, .. } = self {
            // After a successful write the part is gone; after a failure nothing half-written may stay.
            let _ = fs::remove_file(part);
        }
    }
}
