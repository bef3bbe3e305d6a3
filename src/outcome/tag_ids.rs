//! Tag numbers without the numbers.
//!
//! A tag number that a start list links to a person is personal data. It is needed only to tell reads of one tag from those of another, so it is kept as a keyed hash
//! (HMAC-SHA-256, FIPS 198-1, cut to 16 bytes) whose key is drawn for each run and never leaves it; what is handed on are counts.

use hmac::{Hmac, Mac};
use sha2::Sha256;

pub type Id = [u8; 16];

/// Tag numbers as keyed hashes.
pub struct Ids(Hmac<Sha256>);

impl Ids {
    /// With a key of this run alone; fails where the system gives no random numbers.
    pub fn new() -> Result<Ids, String> {
        let mut key = [0; 32];
        getrandom::fill(&mut key).map_err(|e| format!("no random key: {e}"))?;
        Ok(Ids::with_key(&key))
    }

    fn with_key(key: &[u8]) -> Ids {
        Ids(Hmac::new_from_slice(key).expect("a key of any length"))
    }

    pub fn of(&self, tag: &[u8]) -> Id {
        let mut mac = self.0.clone();
        // Lists and readers differ in the case of their hexadecimal digits.
        let mut upper = [0; 64];
        for part in tag.chunks(upper.len()) {
            upper[..part.len()].copy_from_slice(part);
            upper[..part.len()].make_ascii_uppercase();
            mac.update(&upper[..part.len()]);
        }
        let mut id = [0; 16];
        id.copy_from_slice(&mac.finalize().into_bytes()[..16]);
        id
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_differ_by_key_and_not_by_case() {
        let ids = Ids::with_key(b"Jefe");
        assert_eq!(ids.of(b"e280a1"), ids.of(b"E280A1"));
        assert_ne!(ids.of(b"e280a1"), ids.of(b"e280a2"));
        assert_ne!(ids.of(b"e280a1"), Ids::with_key(b"other").of(b"e280a1"));
        assert_ne!(Ids::new().unwrap().of(b"1"), Ids::new().unwrap().of(b"1"));
    }
}
