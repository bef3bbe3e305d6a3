//! A page as one self-contained HTML file: static SVG first, a small script for hover, switches and zoom.
//!
//! Nothing is loaded from anywhere. The content security policy admits the one script and the one style by their
//! SHA-256 and nothing else, so that markup smuggled in through a name could not run even if escaping failed.
//! Source of the policy's form: W3C, Content Security Policy Level 3 (2024 draft), 2.3.1 and 6.7.3.

use super::draw::{Dress, draw};
use super::font::{base64, faces};
use super::page::Page;
use super::table::{Cell, Table};
use minijinja::value::Serde;
use minijinja::{Environment, Value, context};
use serde::Serialize;
use sha2::{Digest, Sha256};

const TEMPLATE: &str = include_str!("assets/report.html");
const STYLE: &str = include_str!("assets/report.css");
const SCRIPT: &str = include_str!("assets/report.js");

#[derive(Serialize)]
struct TableView {
    headings: Vec<(String, bool)>,
    rows: Vec<Vec<(String, bool)>>,
}

impl From<&Table> for TableView {
    fn from(table: &Table) -> Self {
        // A column without any value says nothing.
        let filled: Vec<usize> = (0..table.columns.len())
            .filter(|c| table.rows.is_empty() || table.rows.iter().any(|row| row[*c] != Cell::Empty))
            .collect();
        // Numbers already put in words stand right, too: a column of them, whole cells that begin like a number.
        let worded = |c: usize| {
            let column = || table.rows.iter().map(|row| &row[c]);
            column().all(|cell| !matches!(cell, Cell::Text(t) if c == 0 || !like_a_number(t)))
                && column().count() > 0
        };
        let right: Vec<bool> = filled.iter().map(|c| worded(*c)).collect();
        let cells = |r: usize| {
            let one = |(c, right): (&usize, &bool)| (table.shown(r, *c), *right || table.is_number(r, *c));
            filled.iter().zip(&right).map(one).collect()
        };
        TableView {
            headings: filled
                .iter()
                .zip(&right)
                .map(|(c, right)| (table.columns[*c].heading.replace(" %", "\u{a0}%"), *right))
                .collect(),
            rows: (0..table.rows.len()).map(cells).collect(),
        }
    }
}

#[derive(Serialize)]
struct FigureView<'a> {
    key: &'a str,
    title: &'a str,
    reading: &'a str,
    source: &'a str,
    assumed: &'a str,
    svg: Value,
    table: TableView,
}

/// The page as HTML text; the same page gives the same bytes.
pub fn html(page: &Page) -> Result<String, minijinja::Error> {
    let figures: Vec<FigureView> = page
        .figures
        .iter()
        .map(|f| FigureView {
            key: &f.key,
            title: &f.title,
            reading: &f.reading,
            source: &f.source,
            assumed: &f.assumed,
            svg: Value::from_safe_string(draw(f, Dress::Bare)),
            table: TableView::from(&f.table),
        })
        .collect();
    let tables: Vec<(&str, TableView)> =
        page.further.iter().map(|(heading, table)| (heading.as_str(), TableView::from(table))).collect();
    let hinges_heading =
        if page.hinges_heading.is_empty() { "What it hinges on" } else { &page.hinges_heading };
    let (first, further) = first_sentence(&page.answer);
    let style = format!("{}{STYLE}", faces());
    let mut templates = Environment::new();
    templates.add_template("report.html", TEMPLATE)?;
    templates.get_template("report.html")?.render(context! {
        style_hash => content_hash(&style),
        style => Value::from_safe_string(style),
        script => Value::from_safe_string(SCRIPT.into()),
        script_hash => content_hash(SCRIPT),
        study => Value::from(Serde(&page.study)),
        subject => Value::from(Serde(&page.subject)),
        unlawful => Value::from(Serde(&page.unlawful)),
        note => Value::from(Serde(&page.note)),
        answer => Value::from(Serde(&first)),
        further => Value::from(Serde(&further)),
        caption => Value::from(Serde(&page.caption)),
        table => Value::from(Serde(&TableView::from(&page.table))),
        reading => Value::from(Serde(&page.reading)),
        hinges_heading => Value::from(Serde(&hinges_heading)),
        hinges => Value::from(Serde(&page.hinges)),
        cautions => Value::from(Serde(&page.cautions)),
        figures => Value::from(Serde(&figures)),
        tables => Value::from(Serde(&tables)),
        assumptions => Value::from(Serde(&TableView::from(&page.assumptions))),
        inputs => Value::from(Serde(&page.inputs)),
        run => Value::from(Serde(&page.run)),
    })
}

/// Whether a cell's words are a number, perhaps with an interval: "<0.1 %", "6.4 to 21", "none met".
fn like_a_number(text: &str) -> bool {
    let rest = ["fewer than ", "under ", "none met", "-", "<", ">", "\u{2212}", "+"]
        .iter()
        .fold(text, |rest, start| rest.strip_prefix(start).unwrap_or(rest));
    text.chars().count() <= 24 && (rest.is_empty() || rest.starts_with(|c: char| c.is_ascii_digit()))
}

/// The headline, and what qualifies it. A sentence ends at a full stop before a space and a capital.
fn first_sentence(text: &str) -> (&str, &str) {
    let ends = |&(at, _): &(usize, &str)| text[at + 2..].starts_with(char::is_uppercase);
    match text.match_indices(". ").find(ends) {
        Some((at, _)) => (&text[..=at], &text[at + 2..]),
        None => (text, ""),
    }
}

/// `sha256-…` of an inline script or style, as a content security policy wants it.
fn content_hash(text: &str) -> Value {
    Value::from_safe_string(format!("sha256-{}", base64(&Sha256::digest(text.as_bytes()))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    /// Source: RFC 4648 (2006), section 10, test vectors. Tolerance: none.
    #[test]
    fn val_base64() {
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn the_headline_is_one_sentence() {
        let text = "Of 6,000 runners expect 0.13 without a time. The promise of 99.8 % holds.";
        let (first, further) =
            ("Of 6,000 runners expect 0.13 without a time.", "The promise of 99.8 % holds.");
        assert_eq!(first_sentence(text), (first, further));
        assert_eq!(first_sentence("Tag e.g. birch. 3 of 4"), ("Tag e.g. birch. 3 of 4", ""));
    }

    #[test]
    fn the_page_is_one_file_without_references_and_hostile_names_stay_text() {
        let text = html(&sample::page()).unwrap();
        assert_eq!(text, html(&sample::page()).unwrap());
        assert_eq!(text.matches("<script").count(), 1, "only our own script");
        for outside in ["src=", "href=\"http", "url(http", "@import", "<link", "<iframe"] {
            assert!(!text.contains(outside), "{outside}");
        }
        assert!(text.contains("&lt;script&gt;"));
        assert!(text.contains(&base64(&Sha256::digest(SCRIPT.as_bytes()))));
        assert!(text.len() < 2_000_000, "{} bytes", text.len());
    }

    #[test]
    fn every_figure_has_heading_alternative_text_and_table() {
        let page = sample::page();
        let text = html(&page).unwrap();
        assert_eq!(text.matches("<figure").count(), page.figures.len());
        assert_eq!(text.matches("<details").count(), page.figures.len());
        assert_eq!(text.matches("role=\"img\"").count(), page.figures.len());
        for figure in &page.figures {
            assert!(text.contains(&format!("aria-labelledby=\"{0}-title {0}-desc\"", figure.key)));
        }
    }
}
