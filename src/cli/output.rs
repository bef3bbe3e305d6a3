//! Where a result goes: stdout, or a file written whole or not at all.

use super::failure::Failure;
use crate::files::whole_file::WholeFile;
use crate::files::written;
use crate::report::visible::visible;
use std::fs;
use std::io::{self, Write};
use std::path::PathBuf;

/// A place for the result, probed before a long run (see `places`).
pub enum Output {
    Stdout,
    File(WholeFile),
    /// A pipe or a device: it can only be written to as it is.
    Device(PathBuf),
}

impl Output {
    /// Writes the whole result; a file appears under its name only when complete.
    pub fn write(&mut self, text: &str) -> Result<(), Failure> {
        let text = visible(text);
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
            Output::Device(path) => {
                let open = fs::OpenOptions::new().write(true).open(&*path);
                (path.clone(), open.and_then(|mut device| device.write_all(text.as_bytes())))
            }
            Output::File(file) => {
                let done = file.replace(|out| out.write_all(text.as_bytes()));
                if done.is_ok()
                    && let Err(e) = written::note(file.path(), text.as_bytes())
                {
                    eprintln!(
                        "warning: {} is written, but not noted as ours ({e}): replacing it will need --force",
                        file.path().display()
                    );
                }
                (file.path().to_owned(), done)
            }
        };
        written.map_err(|e| {
            Failure::Write(format!(
                "cannot write {}: {e}; what was there before is untouched. Make room or choose another place, and run it again",
                path.display()
            ))
        })
    }
}
