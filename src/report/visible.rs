//! Text of the user's files where people read it: what would hide, reorder or erase the text around it is shown by its number.
//!
//! Control characters (C0 but tab and line feed, DEL, C1), marks of writing direction, characters of no width and line separators become
//! `[U+202E]`; in JSON `\u202e`, which reads back to the same text. That also takes the joiners out of scripts and pictograms that use them:
//! a name that looks like another is the worse evil in a table of tags. Cells made for spreadsheets that would be taken for a formula get an
//! apostrophe in front.

use std::borrow::Cow;

/// Whether a character changes how the text around it is shown, or shows nothing.
pub fn hides(c: char) -> bool {
    match c {
        '\n' | '\t' => false,
        '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{180e}' | '\u{feff}' => true,
        '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' => true,
        '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}' => true,
        c => c.is_control(),
    }
}

/// Text for a terminal, a page, a picture or a table.
pub fn visible(text: &str) -> Cow<'_, str> {
    if !text.contains(hides) {
        return Cow::Borrowed(text);
    }
    let one = |c: char| if hides(c) { format!("[U+{:04X}]", c as u32) } else { c.to_string() };
    Cow::Owned(text.chars().map(one).collect())
}

/// The same of JSON text.
pub fn visible_json(text: &str) -> Cow<'_, str> {
    if !text.contains(hides) {
        return Cow::Borrowed(text);
    }
    let one = |c: char| {
        if !hides(c) {
            return c.to_string();
        }
        let mut units = [0; 2];
        c.encode_utf16(&mut units).iter().map(|unit| format!("\\u{unit:04x}")).collect()
    };
    Cow::Owned(text.chars().map(one).collect())
}

/// A cell of a table for people: what a spreadsheet would take for a formula is made text. Numbers stay.
pub fn cell(text: &str) -> Cow<'_, str> {
    let formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']) && text.parse::<f64>().is_err();
    if formula { Cow::Owned(format!("'{text}")) } else { Cow::Borrowed(text) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_hides_is_shown_by_its_number() {
        assert_eq!(
            visible("a\u{202e}b\u{7}\u{9b}31m\u{200d}\n\tü"),
            "a[U+202E]b[U+0007][U+009B]31m[U+200D]\n\tü"
        );
        assert_eq!(visible("Åre 10 km – 99 %"), "Åre 10 km – 99 %");
        let value = serde_json::json!({ "name": "a\u{202e}\u{e0041}\u{85}" });
        let text = serde_json::to_string_pretty(&value).unwrap();
        let safe = visible_json(&text);
        assert!(safe.is_ascii(), "{safe}");
        assert_eq!(serde_json::from_str::<serde_json::Value>(&safe).unwrap(), value);
    }

    #[test]
    fn formulas_become_text_and_numbers_stay() {
        for (from, to) in [("=1+1", "'=1+1"), ("@SUM(A1)", "'@SUM(A1)"), ("-a", "'-a"), ("+cmd", "'+cmd")] {
            assert_eq!(cell(from), to);
        }
        for same in ["-3.5", "+1e-3", "-inf", "birch", ""] {
            assert_eq!(cell(same), same);
        }
    }
}
