//! Numbers and tables as words: the one place that rounds for reading.

use crate::study::provenance::{Provenance, SetUp};
use comfy_table::presets::NOTHING;
use comfy_table::{CellAlignment, ContentArrangement, Table};

/// Rate as misses per 10,000, with two significant digits.
pub fn per_10_000(rate: f64) -> String {
    significant(1e4 * rate)
}

/// Two significant digits, at least all whole ones; never an exponent, for nobody reads one aloud.
pub fn significant(value: f64) -> String {
    // The limits lie where rounding reaches the next power of ten: 0.996 is 1.0, and 9.96 is 10.
    let text = match value.abs() {
        0.0 => "0".to_owned(),
        v if v < 0.0001 && value < 0.0 => "between -0.0001 and 0".to_owned(),
        v if v < 0.0001 => "<0.0001".to_owned(),
        v if v < 0.000995 => format!("{value:.5}"),
        v if v < 0.00995 => format!("{value:.4}"),
        v if v < 0.0995 => format!("{value:.3}"),
        v if v < 0.995 => format!("{value:.2}"),
        v if v < 9.95 => format!("{value:.1}"),
        _ => format!("{value:.0}"),
    };
    grouped_text(&text)
}

/// Share 0..=1 as a percentage; never a bare 0 or 100 unless it is exactly that.
pub fn percent(share: f64) -> String {
    let p = 100.0 * share;
    match p {
        p if share <= 0.0 => format!("{:.0} %", p.max(0.0)),
        p if share >= 1.0 => format!("{:.0} %", p.min(100.0)),
        p if p < 0.1 => "<0.1 %".to_owned(),
        p if p < 1.0 => format!("{p:.1} %"),
        p if p > 99.9 => ">99.9 %".to_owned(),
        p if p > 99.0 => format!("{p:.1} %"),
        p => format!("{p:.0} %"),
    }
}

/// A detection rate such as 0.998 as "99.8 %".
pub fn rate_percent(rate: f64) -> String {
    let text = format!("{:.4}", 100.0 * rate);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

/// A whole number in groups of three: 12,345,678.
pub fn grouped(n: u64) -> String {
    grouped_text(&n.to_string())
}

/// A number's text with its whole digits in groups of three: `-12345.678` as `-12,345.678`.
pub fn grouped_text(number: &str) -> String {
    let start = number.find(|c: char| c.is_ascii_digit()).unwrap_or(number.len());
    let rest = &number[start..];
    let whole = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
    let mut out = number[..start].to_owned();
    for (i, c) in rest[..whole].chars().enumerate() {
        if i > 0 && (whole - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(c);
    }
    out + &rest[whole..]
}

/// The first letter as a capital.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}

/// Hyphens of a number as minus signs.
pub fn minus(number: &str) -> String {
    number.replace('-', "\u{2212}")
}

/// "a, b and c".
pub fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [only] => only.clone(),
        [before @ .., last] => format!("{} and {last}", before.join(", ")),
    }
}

/// Columns aligned, first left and the others right, two spaces between; every line indented by two.
pub fn table(header: &[&str], rows: &[Vec<String>]) -> String {
    let mut table = Table::new();
    table.load_style(NOTHING).set_content_arrangement(ContentArrangement::Disabled);
    table.set_header(header.iter().map(|h| (*h).to_owned()).collect::<Vec<_>>());
    for row in rows {
        table.add_row(row.clone());
    }
    for (i, column) in table.column_iter_mut().enumerate() {
        column.set_padding((if i == 0 { 1 } else { 2 }, 0));
        column.set_cell_alignment(if i == 0 { CellAlignment::Left } else { CellAlignment::Right });
    }
    table.to_string().lines().map(|l| format!(" {}\n", l.trim_end())).collect()
}

/// Breaks text into lines of at most `width` characters, each after `indent`; words are never broken.
pub fn wrap(text: &str, width: usize, indent: &str) -> String {
    let mut out = String::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let wide = indent.chars().count() + line.chars().count() + 1 + word.chars().count() > width;
        if wide && !line.is_empty() {
            out.push_str(&format!("{indent}{line}\n"));
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    out.push_str(&format!("{indent}{line}\n"));
    out
}

/// Width of every text report.
pub const WIDTH: usize = 100;

/// Adds a paragraph.
pub fn say(out: &mut String, text: &str) {
    out.push_str(&wrap(text, WIDTH, ""));
}

/// Adds one item of a list.
pub fn item(out: &mut String, text: &str) {
    out.push_str(&wrap(&format!("- {text}"), WIDTH, "  "));
}

/// What is said first of a set-up that may not be switched on, or was hardly meant; nothing of a sound one.
pub fn set_up_words(set_up: &SetUp) -> Vec<String> {
    const NAMED: usize = 2;
    let named = |list: &[String]| {
        let named = list.iter().take(NAMED).map(String::as_str).collect::<Vec<_>>().join("; ");
        match list.len().saturating_sub(NAMED) {
            0 => named,
            more => format!("{named}; and {more} more"),
        }
    };
    let SetUp { unlawful_power, doubts } = set_up;
    let unlawful = (!unlawful_power.is_empty()).then(|| {
        format!(
            "UNLAWFUL POWER, a study on paper only; do not transmit like this. {}.",
            named(unlawful_power)
        )
    });
    let doubtful = (!doubts.is_empty())
        .then(|| format!("IS THIS SET-UP MEANT? The forecast takes it as written. {}.", named(doubts)));
    unlawful.into_iter().chain(doubtful).collect()
}

/// Serious findings about the measurement behind a study, in words; `None` without any.
pub fn finding_words(findings: &[String]) -> Option<String> {
    let named: Vec<&str> = findings.iter().map(|f| f.trim_end_matches('.')).collect();
    (!findings.is_empty()).then(|| {
        format!(
            "DESPITE SERIOUS FINDINGS about the measurement; do not decide by this. {}.",
            named.join(". ")
        )
    })
}

/// What every answer says first: unlawful power, a set-up that was hardly meant, serious findings, beliefs learned from races.
pub fn first_words(provenance: &Provenance) -> Vec<String> {
    let alarms = set_up_words(&provenance.set_up).into_iter().chain(finding_words(&provenance.findings));
    alarms.chain(provenance.learned_from.clone()).collect()
}

/// The same as the first paragraphs of a text.
pub fn first_lines(out: &mut String, provenance: &Provenance) {
    for words in first_words(provenance) {
        say(out, &words);
        out.push('\n');
    }
}

/// Adds an item that names the effects switched off, if any are.
pub fn switched_off(out: &mut String, effects: &[String]) {
    if !effects.is_empty() {
        let names = effects.join(", ");
        item(out, &format!("switched off in this scenario: {names}; a test case, not a forecast"));
    }
}

/// Adds the note of a file below a heading, if there is one.
pub fn heading_note(out: &mut String, note: &str) {
    if !note.is_empty() {
        say(out, note);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_read_well() {
        assert_eq!(
            [0.0, 0.0004, 0.25, 0.9995, 1.0].map(percent),
            ["0 %", "<0.1 %", "25 %", ">99.9 %", "100 %"]
        );
        assert_eq!([0.998, 0.9995, 0.9, 1.0].map(rate_percent), ["99.8 %", "99.95 %", "90 %", "100 %"]);
        assert_eq!([5, 999, 1000, 1234567].map(grouped), ["5", "999", "1,000", "1,234,567"]);
        assert_eq!([0.00012, 4.2e-7, 0.03, 0.0].map(per_10_000), ["1.2", "0.0042", "300", "0"]);
        assert_eq!(
            [0.996, 9.96, 0.0000012, 4306.9, -1234.5].map(significant),
            ["1.0", "10", "<0.0001", "4,307", "-1,234"]
        );
        assert_eq!(
            ["\u{2212}12345.6789", "no", "999 %"].map(grouped_text),
            ["\u{2212}12,345.6789", "no", "999 %"]
        );
    }

    #[test]
    fn tables_line_up() {
        let text = table(
            &["point", "rate"],
            &[vec!["10 km".into(), "4.1".into()], vec!["finish".into(), "12".into()]],
        );
        assert_eq!(text, "  point   rate\n  10 km    4.1\n  finish    12\n");
    }

    #[test]
    fn wrapping_keeps_words() {
        assert_eq!(wrap("one two three", 9, "  "), "  one two\n  three\n");
    }
}
