//! Reads a text file the user wrote: size, encoding and hash checked before anything looks inside.

use crate::diag::{Diagnostic, Source, codes};
use crate::files::bounded::{self, Refused};
use crate::files::written::hash;
use std::path::Path;
use std::sync::Arc;

/// Largest input file read, bytes. A sweep of 100,000 rows takes about 5 MB; more is a mistake.
pub const MAX_BYTES: u64 = 64 << 20;

/// A file's text and the SHA-256 of its bytes, in hexadecimal.
#[derive(Debug)]
pub struct TextFile {
    pub source: Arc<Source>,
    pub sha256: String,
}

/// Reads `path`. The path shown to the user is the one given.
pub fn read(path: &Path) -> Result<TextFile, Box<Diagnostic>> {
    let shown = path.display().to_string();
    let empty = Source::new(shown.clone(), "");
    let refused = |refused: Refused| {
        let (code, help) = match &refused {
            Refused::Folder => (codes::FILE_IS_DIRECTORY, None),
            Refused::TooLarge { .. } => (codes::FILE_TOO_LARGE, Some(LARGE)),
            Refused::NoFile => (codes::FILE_MISSING, Some("save what it would deliver as a file first")),
            Refused::Io(_) => (codes::FILE_MISSING, None),
        };
        let found = Diagnostic::error(code, refused.to_string()).in_file(&empty);
        Box::new(help.into_iter().fold(found, Diagnostic::help))
    };
    let bytes = bounded::read(path, MAX_BYTES).map_err(refused)?;
    from_bytes(&shown, bytes)
}

/// The same from bytes already in memory.
pub fn from_bytes(shown: &str, bytes: Vec<u8>) -> Result<TextFile, Box<Diagnostic>> {
    let sha256 = hash(&bytes);
    let whole = Source::new(shown, "");
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        let found =
            Diagnostic::error(codes::FILE_NOT_UTF8, "the file is UTF-16, expected UTF-8").in_file(&whole);
        return Err(Box::new(found.help("save it again as `CSV UTF-8` or plain UTF-8 text")));
    }
    let text = match String::from_utf8(bytes) {
        Ok(text) => text,
        Err(e) => {
            let at = e.utf8_error().valid_up_to();
            let bad = e.as_bytes()[at];
            // Keep the readable part, so that the place can be shown.
            let source = Source::new(shown, String::from_utf8_lossy(&e.as_bytes()[..at]).into_owned());
            let message = format!("byte 0x{bad:02X} is not UTF-8 text (byte {at} of the file)");
            let found = Diagnostic::error(codes::FILE_NOT_UTF8, message).at(&source, at..at);
            let help =
                "save it again as UTF-8; a degree or micro sign from an older code page is a usual cause";
            return Err(Box::new(found.help(help)));
        }
    };
    // A byte order mark says nothing in UTF-8.
    let text = text.strip_prefix('\u{FEFF}').map(str::to_owned).unwrap_or(text);
    let source = Source::new(shown, text);
    if source.text.trim().is_empty() {
        return Err(Box::new(Diagnostic::error(codes::FILE_EMPTY, "the file is empty").in_file(&source)));
    }
    if let Some(at) = source.text.find('\0') {
        let found = Diagnostic::error(codes::FILE_NOT_UTF8, "the file holds a zero byte: not a text file");
        return Err(Box::new(found.at(&source, at..at + 1).help("save it again as UTF-8 text")));
    }
    Ok(TextFile { source, sha256 })
}

/// The way out of a file that is too large.
const LARGE: &str =
    "a sweep of 100,000 rows takes about 5 MB: is this the right file? split it by mount if it is";

#[cfg(test)]
mod tests {
    use super::*;

    fn code(bytes: &[u8]) -> &'static str {
        from_bytes("x.csv", bytes.to_vec()).expect_err("refused").code
    }

    #[test]
    fn encodings_are_told_apart() {
        assert_eq!(code(b"\xFF\xFEa\0"), "file-not-utf8");
        assert_eq!(code(b"a\0b\0"), "file-not-utf8");
        assert_eq!(code(b"caf\xE9"), "file-not-utf8");
        assert_eq!(code(b" \n"), "file-empty");
        let file = from_bytes("x.csv", b"\xEF\xBB\xBFa,b\n".to_vec()).expect("a mark is harmless");
        assert_eq!(file.source.text, "a,b\n");
    }

    /// Source: NIST FIPS 180-4 example, SHA-256 of `abc`. Tolerance: exact.
    #[test]
    fn val_sha256() {
        let file = from_bytes("x", b"abc".to_vec()).expect("text");
        assert_eq!(file.sha256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn a_missing_file_and_a_folder_are_refused() {
        assert_eq!(read(Path::new("/nonexistent/a.csv")).expect_err("missing").code, "file-missing");
        assert_eq!(read(Path::new("src")).expect_err("folder").code, "file-is-directory");
    }
}
