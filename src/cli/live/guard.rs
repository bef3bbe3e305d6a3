//! Who may ask the page's server: only the page it served itself. Other pages of the browser and other users of the machine do not know
//! the token; a foreign name pointed at 127.0.0.1 fails at Host, a foreign page at Origin.

use tiny_http::Request;

/// Most bytes of a request's body.
pub const MOST_BODY_BYTES: u64 = 256 << 10;

pub struct Guard {
    pub token: String,
    pub host: String,
}

impl Guard {
    /// A token of 128 random bits for a server at `host` (address:port).
    pub fn new(host: String) -> Result<Guard, getrandom::Error> {
        let mut bytes = [0u8; 16];
        getrandom::fill(&mut bytes)?;
        Ok(Guard { token: bytes.iter().map(|b| format!("{b:02x}")).collect(), host })
    }

    /// The status to refuse with, if any.
    pub fn refuses(&self, request: &Request) -> Option<u16> {
        let header = |name: &'static str| -> Vec<&str> {
            let fits = request.headers().iter().filter(|h| h.field.equiv(name));
            fits.map(|h| h.value.as_str()).collect()
        };
        let origin = header("Origin");
        let from_us = format!("http://{}", self.host);
        let foreign = match origin[..] {
            [] => request.method() != &tiny_http::Method::Get,
            [one] => one != from_us,
            _ => true,
        };
        if header("Host") != [self.host.as_str()] || foreign {
            return Some(403);
        }
        let asked = request.url().split_once('?').and_then(|(_, q)| q.strip_prefix("token="));
        if !asked.is_some_and(|asked| same(asked.as_bytes(), self.token.as_bytes())) {
            return Some(403);
        }
        request.body_length().is_some_and(|n| n as u64 > MOST_BODY_BYTES).then_some(413)
    }
}

/// Equal, in a time that does not tell how far.
fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |bits, (a, b)| bits | (a ^ b)) == 0
}
