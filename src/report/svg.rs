//! SVG text: elements, attributes, escaping, numbers. Nothing of the trade is known here.
//!
//! The same input gives the same bytes: coordinates have two decimals, attributes keep the order given, and no
//! time, path or random name gets in. Every string from outside goes through `escape`.

use std::fmt::Write;

/// Fonts of the figures; the PNG writer has the first one built in.
pub const FONTS: &str = "'Open Sans','Noto Sans','Segoe UI','Helvetica Neue',Arial,sans-serif";

/// Text made safe for element content and quoted attributes. Control characters XML forbids become U+FFFD.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            c if (c as u32) < 0x20 || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// A coordinate: two decimals, no trailing zeros, never `-0`.
pub fn px(value: f64) -> String {
    let fixed = format!("{value:.2}");
    let short = fixed.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" || short.is_empty() { "0".into() } else { short.into() }
}

/// A growing SVG text.
#[derive(Default)]
pub struct Svg {
    text: String,
}

/// An attribute's value.
pub enum Value<'a> {
    Px(f64),
    Text(&'a str),
}
impl From<f64> for Value<'_> {
    fn from(v: f64) -> Self {
        Value::Px(v)
    }
}
impl<'a> From<&'a str> for Value<'a> {
    fn from(v: &'a str) -> Self {
        Value::Text(v)
    }
}
impl<'a> From<&'a String> for Value<'a> {
    fn from(v: &'a String) -> Self {
        Value::Text(v)
    }
}

impl Svg {
    fn tag(&mut self, name: &str, attributes: &[(&str, Value)]) {
        self.text.push('<');
        self.text.push_str(name);
        for (key, value) in attributes {
            let value = match value {
                Value::Px(v) => px(*v),
                Value::Text("") => continue,
                Value::Text(t) => escape(t),
            };
            write!(self.text, " {key}=\"{value}\"").expect("writing to a string cannot fail");
        }
    }
    /// Opens an element; `close` it later. Empty attributes are left out.
    pub fn open(&mut self, name: &str, attributes: &[(&str, Value)]) {
        self.tag(name, attributes);
        self.text.push('>');
    }
    pub fn close(&mut self, name: &str) {
        writeln!(self.text, "</{name}>").expect("writing to a string cannot fail");
    }
    /// An element without content.
    pub fn empty(&mut self, name: &str, attributes: &[(&str, Value)]) {
        self.tag(name, attributes);
        self.text.push_str("/>\n");
    }
    /// An element that holds only text.
    pub fn leaf(&mut self, name: &str, attributes: &[(&str, Value)], content: &str) {
        self.open(name, attributes);
        self.text.push_str(&escape(content));
        self.close(name);
    }
    /// An element with a tip: browsers show the title when pointed at, scripts or not.
    pub fn tipped(&mut self, name: &str, attributes: &[(&str, Value)], tip: &str) {
        if tip.is_empty() {
            return self.empty(name, attributes);
        }
        self.open(name, attributes);
        self.text.push_str("<title>");
        self.text.push_str(&escape(tip));
        self.text.push_str("</title>");
        self.close(name);
    }
    /// Appends what another text has grown to.
    pub fn append(&mut self, other: Svg) {
        self.text.push_str(&other.text);
    }
    pub fn finish(self) -> String {
        self.text
    }
    pub fn len(&self) -> usize {
        self.text.len()
    }
    pub fn is_empty(&self) -> bool {
        self.text.is_empty()
    }
}

/// `M…L…` path of points in px.
pub fn path(points: impl IntoIterator<Item = (f64, f64)>) -> String {
    let mut out = String::new();
    for (i, (x, y)) in points.into_iter().enumerate() {
        out.push(if i == 0 { 'M' } else { 'L' });
        out.push_str(&px(x));
        out.push(' ');
        out.push_str(&px(y));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_text_stays_text() {
        let mut svg = Svg::default();
        svg.tipped(
            "g",
            &[("data-s", "\"><script>alert(1)</script>".into())],
            "</title><script>x</script>\u{0}",
        );
        let text = svg.finish();
        assert!(
            !text.contains("<script") && !text.contains('\u{0}') && text.matches('<').count() == 4,
            "{text}"
        );
    }
    #[test]
    fn coordinates_are_short_and_stable() {
        assert_eq!([px(1.0), px(-0.001), px(12.345678), px(0.1 + 0.2)], ["1", "0", "12.35", "0.3"]);
        assert_eq!(path([(0.0, 1.5), (2.0, 3.25)]), "M0 1.5L2 3.25");
    }
}
