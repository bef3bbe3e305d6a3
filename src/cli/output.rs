//! Where a result goes: stdout, or a file written whole or not at all.

use super::failure::Failure;
use super::interrupt;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// A place for the result, probed before a long run.
pub enum Output {
    Stdout,
    File {
        path: PathBuf,
        part: PathBuf,
    },
    /// A pipe or a device: it can only be written to as it is.
    Device {
        path: PathBuf,
    },
}

/// Room claimed for a result before the run; the largest page of the demo scenarios is a quarter of it.
const ROOM_BYTES: usize = 2 << 20;

/// Writes zeros, since a file with a hole would claim nothing, and keeps them until the result takes their place.
fn claim(part: &Path) -> io::Result<()> {
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
        let refused = |path: &Path, why: &str| {
            Failure::Usage(format!("cannot write {}: {why}; choose another place", path.display()))
        };
        if path.is_dir() {
            return Err(refused(path, "it is a folder, and a file is needed"));
        }
        // What a link points to is replaced, not the link.
        let path = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        if path.exists() && !path.is_file() {
            let open = fs::OpenOptions::new().write(true).open(&path);
            return match open {
                Ok(_) => Ok(Output::Device { path }),
                Err(e) => Err(refused(&path, &e.to_string())),
            };
        }
        let mut part = path.as_os_str().to_owned();
        part.push(format!(".{}.part", std::process::id()));
        let part = PathBuf::from(part);
        interrupt::remember_part(&part);
        // Made first, so that a claim that fails half-way is tidied up.
        let output = Output::File { path: path.clone(), part: part.clone() };
        claim(&part).map_err(|e| refused(&path, &e.to_string()))?;
        Ok(output)
    }

    /// Writes the whole result; a file appears under its name only when complete.
    pub fn write(&self, text: &str) -> Result<(), Failure> {
        let (path, written) = match self {
            Output::Stdout => {
                return match io::stdout().lock().write_all(text.as_bytes()) {
                    // A reader that went away (head, less) is no error of ours.
                    Err(e) if e.kind() != io::ErrorKind::BrokenPipe => {
                        Err(Failure::Write(format!("cannot write to stdout: {e}")))
                    }
                    _ => Ok(()),
                };
            }
            Output::Device { path } => {
                let open = fs::OpenOptions::new().write(true).open(path);
                (path, open.and_then(|mut device| device.write_all(text.as_bytes())))
            }
            Output::File { path, part } => (path, replace(path, part, text)),
        };
        written.map_err(|e| {
            Failure::Write(format!(
                "cannot write {}: {e}; what was there before is untouched. Make room or choose another place, and run it again",
                path.display()
            ))
        })
    }
}

fn replace(path: &Path, part: &Path, text: &str) -> io::Result<()> {
    // Over the zeros of the claim, whose room is ours already.
    let mut file = fs::File::options().write(true).create(true).truncate(false).open(part)?;
    file.write_all(text.as_bytes())?;
    file.set_len(text.len() as u64)?;
    file.sync_all()?;
    fs::rename(part, path)
}

impl Drop for Output {
    fn drop(&mut self) {
        if let Output::File { part, .. } = self {
            // After a successful write the part is gone; after a failure nothing half-written may stay.
            let _ = fs::remove_file(&*part);
            interrupt::forget_part(part);
        }
    }
}
