//! The fonts of figures and pages, carried inside every page and picture.
//!
//! A figure is laid out with the advance widths of these fonts (`text_width`), so it is shown with these fonts: labels
//! measured with one font and shown with another are cut or lie on one another.

const REGULAR: &[u8] = include_bytes!("assets/OpenSans-Regular.woff2");
const SEMIBOLD: &[u8] = include_bytes!("assets/OpenSans-Semibold.woff2");

/// Style rules that bring the two weights along as data; nothing is loaded from outside.
/// Source of the form: W3C, CSS Fonts Module Level 4 (2024 draft), section 4.
pub fn faces() -> String {
    let face = |weight: u16, font: &[u8]| {
        format!(
            "@font-face {{ font-family: 'Open Sans'; font-weight: {weight}; src: url(data:font/woff2;base64,{}) format('woff2'); }}\n",
            base64(font)
        )
    };
    face(400, REGULAR) + &face(600, SEMIBOLD)
}

/// Base 64 with padding. Source: RFC 4648 (2006), section 4.
pub fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::new();
    for chunk in bytes.chunks(3) {
        let word = chunk.iter().chain([0u8; 2].iter()).take(3).fold(0u32, |w, b| (w << 8) | u32::from(*b));
        for k in 0..4 {
            let sign = SIGNS[(word >> (18 - 6 * k)) as usize & 63] as char;
            out.push(if k > chunk.len() { '=' } else { sign });
        }
    }
    out
}
