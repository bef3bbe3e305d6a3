//! Diagnostics as text, in the look of the Rust compiler: code and message, path:line:col, the marked
//! lines, help.
//!
//! Drawn by `annotate-snippets`. Its known troubles come from odd spans and narrow terminals, so spans are
//! clamped to character boundaries, only the lines in question are handed over, and the width has a floor.

use super::{Diagnostic, Severity};
use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet, normalize_untrusted_str};
use std::ops::Range;

/// Narrower than this is treated as this.
const MIN_WIDTH: usize = 60;
/// Wider than this is treated as this.
const MAX_WIDTH: usize = 400;
/// A file that is wrong all over shows this many problems; the rest is counted.
const MOST_SHOWN: usize = 60;

/// How to draw.
#[derive(Clone, Copy, Debug)]
pub struct Style {
    /// ANSI colours. The caller decides (terminal, NO_COLOR).
    pub colour: bool,
    /// Columns of the terminal.
    pub width: usize,
}

impl Style {
    pub const PLAIN: Style = Style { colour: false, width: 120 };
}

/// All diagnostics, a blank line between them, ending in a line that counts them. Empty for an empty list.
pub fn render_all(diagnostics: &[Diagnostic], style: Style) -> String {
    let mut text = String::new();
    for diagnostic in diagnostics.iter().take(MOST_SHOWN) {
        text.push_str(&render(diagnostic, style));
        text.push('\n');
    }
    let count = |severity| diagnostics.iter().filter(|d| d.severity == severity).count();
    let (errors, warnings) = (count(Severity::Error), count(Severity::Warning));
    if diagnostics.len() > MOST_SHOWN {
        text.push_str(&format!("... and {} more\n", diagnostics.len() - MOST_SHOWN));
    }
    if !diagnostics.is_empty() {
        let plural = |n: usize, word: &str| format!("{n} {word}{}", if n == 1 { "" } else { "s" });
        text.push_str(&format!("{}, {}\n", plural(errors, "error"), plural(warnings, "warning")));
    }
    text
}

/// One diagnostic, ending in a newline.
pub fn render(diagnostic: &Diagnostic, style: Style) -> String {
    let level = match diagnostic.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let mut group = Group::with_title(
        level.primary_title(normalize_untrusted_str(&diagnostic.message)).id(diagnostic.code),
    );
    if let Some(source) = &diagnostic.source {
        let path = normalize_untrusted_str(&source.path);
        group = match &diagnostic.span {
            None => group.element(Origin::path(path)),
            Some(span) => {
                let span = clamp(&source.text, span);
                let also = diagnostic.also.as_ref().map(|(place, label)| (clamp(&source.text, place), label));
                let first = also.as_ref().map_or(span.start, |(place, _)| place.start.min(span.start));
                let last = also.as_ref().map_or(span.end, |(place, _)| place.end.max(span.end));
                let lines = whole_lines(&source.text, first..last);
                let shift = |place: &Range<usize>| place.start - lines.start..place.end - lines.start;
                let mut snippet = Snippet::source(source.text[lines.clone()].to_owned())
                    .path(path)
                    .line_start(source.line_column(lines.start).0)
                    .annotation(
                        AnnotationKind::Primary
                            .span(shift(&span))
                            .label(normalize_untrusted_str(&diagnostic.label)),
                    );
                if let Some((place, label)) = &also {
                    snippet = snippet.annotation(
                        AnnotationKind::Context.span(shift(place)).label(normalize_untrusted_str(label)),
                    );
                }
                group.element(snippet)
            }
        };
    }
    for help in &diagnostic.help {
        group = group.element(Level::HELP.message(normalize_untrusted_str(help)));
    }
    let renderer = if style.colour { Renderer::styled() } else { Renderer::plain() };
    let mut text = renderer.term_width(style.width.clamp(MIN_WIDTH, MAX_WIDTH)).render(&[group]);
    text.push('\n');
    text
}

/// The span inside the text, on character boundaries, on one line (a table is marked by its first line).
fn clamp(text: &str, span: &Range<usize>) -> Range<usize> {
    let boundary = |byte: usize| {
        let mut byte = byte.min(text.len());
        while !text.is_char_boundary(byte) {
            byte -= 1;
        }
        byte
    };
    let start = boundary(span.start);
    let end = boundary(span.end).max(start);
    let line_end = text[start..].find('\n').map_or(text.len(), |i| start + i);
    start..end.min(line_end)
}

/// The range widened to whole lines, without the last line's newline.
fn whole_lines(text: &str, span: Range<usize>) -> Range<usize> {
    let start = text[..span.start].rfind('\n').map_or(0, |i| i + 1);
    let end = text[span.end..].find('\n').map_or(text.len(), |i| span.end + i);
    start..end
}

#[cfg(test)]
mod tests {
    use super::super::Source;
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn place_value_limit_and_way_out_are_shown() {
        let source = Source::new("scenarios/finish.toml", "[a]\nheight_m = 250\nb = 1\n");
        let text = render(
            &Diagnostic::error("out-of-range", "height_m = 250 is outside 0..=8 m")
                .at(&source, 15..18)
                .label("metres above the road")
                .help("did you mean 2.50?"),
            Style::PLAIN,
        );
        assert_eq!(
            text,
            "error[out-of-range]: height_m = 250 is outside 0..=8 m\n --> scenarios/finish.toml:2:12\n  |\n\
             2 | height_m = 250\n  |            ^^^ metres above the road\n  |\n  = help: did you mean 2.50?\n"
        );
    }

    #[test]
    fn a_long_list_is_cut_and_counted() {
        let many = vec![Diagnostic::warning("count", "x"); 100];
        let text = render_all(&many, Style::PLAIN);
        assert!(text.ends_with("... and 40 more\n0 errors, 100 warnings\n"), "{text}");
        assert_eq!(render_all(&[], Style::PLAIN), "");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(400))]
        /// Any text, any span (also beyond the end, reversed, inside a character), any width, colour or not.
        #[test]
        fn never_panics(
            text in "(\\PC|[\\n\\r\\t\u{feff}é😀\"=\\[\\]]){0,80}",
            label in "\\PC{0,20}",
            a in 0usize..400, b in 0usize..400, c in 0usize..400, d in 0usize..400,
            width in 0usize..300, colour: bool,
        ) {
            let source = Source::new("a\tb/ü.toml", text);
            let whole = Diagnostic::error("count", label.clone()).in_file(&source);
            let marked = Diagnostic::warning("count", label.clone()).at(&source, a..b).label(label.clone());
            let both = marked.clone().also(c..d, label.clone()).help(label);
            for diagnostic in [whole, marked, both] {
                let text = render(&diagnostic, Style { colour, width });
                prop_assert!(text.contains("count"));
            }
        }
    }
}
