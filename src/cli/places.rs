//! Where results go, looked at before the run: no result takes the place of an input, of another result, or of a file of the user's.

use super::failure::Failure;
use super::output::Output;
use crate::files::whole_file::WholeFile;
use crate::files::whole_folder::{Refused, WholeFolder};
use crate::files::written::{Whose, whose_file};
use std::fs;
use std::path::{Path, PathBuf};

/// Room claimed for a result before the run; the largest page of the demo scenarios is a quarter of it.
const ROOM_BYTES: u64 = 2 << 20;

/// The outputs of one command.
pub struct Places {
    force: bool,
    taken: Vec<Taken>,
}

struct Taken {
    option: &'static str,
    shown: PathBuf,
    real: PathBuf,
    /// Everything below it is taken too.
    folder: bool,
}

impl Places {
    pub fn new(force: bool) -> Places {
        Places { force, taken: Vec::new() }
    }

    /// The file of an option, `-` or none for stdout. Its temporary neighbour is made at once and filled with zeros, so that an unwritable
    /// folder or a full disk is found before the run.
    pub fn file(&mut self, option: &'static str, path: Option<&Path>) -> Result<Output, Failure> {
        let Some(path) = path.filter(|path| path.as_os_str() != "-") else { return Ok(Output::Stdout) };
        let refused = |why: &str| Failure::Usage(format!("cannot write {}: {why}", path.display()));
        // A pipe or a device: nothing is lost by writing to it.
        if let Ok(real) = fs::canonicalize(path)
            && !real.is_file()
            && !real.is_dir()
        {
            return match fs::OpenOptions::new().write(true).open(&real) {
                Ok(_) => Ok(Output::Device(real)),
                Err(e) => Err(refused(&format!("{e}; choose another place"))),
            };
        }
        self.take(option, path, false)?;
        let file =
            WholeFile::hold(path, ROOM_BYTES).map_err(|e| refused(&format!("{e}; choose another place")))?;
        if file.path().exists() && !self.force {
            match whose_file(file.path()) {
                Whose::Ours => {}
                Whose::Changed => {
                    return Err(refused(
                        "it was changed after readodds wrote it; choose another name, or replace it with --force",
                    ));
                }
                Whose::Foreign => {
                    return Err(refused(
                        "it is there already and readodds did not write it; choose another name, or replace it with --force",
                    ));
                }
            }
        }
        Ok(Output::File(file))
    }

    /// The folder of an option.
    pub fn folder(
        &mut self,
        option: &'static str,
        path: &Path,
        room_bytes: u64,
    ) -> Result<WholeFolder, Failure> {
        self.take(option, path, true)?;
        WholeFolder::claim(path, room_bytes, self.force).map_err(|why| {
            let way = match why {
                Refused::Changed(_) => "; choose another folder, or replace it with --force",
                _ => "; choose another folder",
            };
            Failure::Usage(format!("cannot write {option} into {}: {why}{way}", path.display()))
        })
    }

    pub fn force(&self) -> bool {
        self.force
    }

    /// The file of a checkpoint: it knows its own and refuses others.
    pub fn checkpoint(&mut self, path: Option<&Path>) -> Result<(), Failure> {
        path.map_or(Ok(()), |path| self.take("--checkpoint", path, false))
    }

    /// A place that something else will open and look after.
    pub fn take(&mut self, option: &'static str, path: &Path, folder: bool) -> Result<(), Failure> {
        let real = real(path);
        for other in &self.taken {
            if same(&real, &other.real)
                || (other.folder && real.starts_with(&other.real))
                || (folder && other.real.starts_with(&real))
            {
                return Err(Failure::Usage(format!(
                    "{option} {} and {} {} are one place; give each a place of its own",
                    path.display(),
                    other.option,
                    other.shown.display()
                )));
            }
        }
        self.taken.push(Taken { option, shown: path.to_owned(), real, folder });
        Ok(())
    }

    /// Refuses outputs that are inputs; also with `--force`.
    pub fn spare<'a>(&self, inputs: impl IntoIterator<Item = &'a Path>) -> Result<(), Failure> {
        for input in inputs {
            let found = real(input);
            let lost = |t: &&Taken| same(&t.real, &found) || (t.folder && found.starts_with(&t.real));
            if let Some(taken) = self.taken.iter().find(lost) {
                return Err(Failure::Usage(format!(
                    "{} {} would take the place of the input {}; choose another place",
                    taken.option,
                    taken.shown.display(),
                    input.display()
                )));
            }
        }
        Ok(())
    }
}

/// The path without links; where the file is not there yet, its folder without links.
fn real(path: &Path) -> PathBuf {
    if let Ok(real) = fs::canonicalize(path) {
        return real;
    }
    let path: PathBuf = path.components().collect();
    match (path.parent(), path.file_name()) {
        (Some(above), Some(name)) if above.as_os_str().is_empty() => real(Path::new(".")).join(name),
        (Some(above), Some(name)) if above.exists() || above.parent().is_some() => real(above).join(name),
        _ => path,
    }
}

/// Whether two names mean one file, hard links included.
fn same(a: &Path, b: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        if let (Ok(a), Ok(b)) = (fs::metadata(a), fs::metadata(b))
            && (a.dev(), a.ino()) == (b.dev(), b.ino())
        {
            return true;
        }
    }
    a == b
}
/// The way to a file as seen from a folder, so that both can be moved together.
pub fn way_from(folder: &Path, file: &Path) -> Result<String, Failure> {
    let unknown = |e: std::io::Error| Failure::Write(format!("{}: {e}", file.display()));
    let file = std::fs::canonicalize(file).map_err(unknown)?;
    let folder = std::fs::canonicalize(folder).or_else(|_| std::path::absolute(folder)).map_err(unknown)?;
    let (from, to): (Vec<_>, Vec<_>) = (folder.components().collect(), file.components().collect());
    let common = from.iter().zip(&to).take_while(|(a, b)| a == b).count();
    let up = std::iter::repeat_n("..".to_owned(), from.len() - common);
    let down = to[common..].iter().map(|c| c.as_os_str().to_string_lossy().into_owned());
    Ok(up.chain(down).collect::<Vec<_>>().join("/"))
}
