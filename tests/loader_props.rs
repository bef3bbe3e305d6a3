//! The scenario loader and the renderer never panic: not on arbitrary text, not on valid scenarios that were damaged.

use proptest::prelude::*;
use readodds::course;
use readodds::diag::Severity;
use readodds::diag::render::{Style, render_all};
use std::path::Path;

const SEEDS: [&str; 3] = [
    include_str!("../scenarios/template.toml"),
    include_str!("../scenarios/half-marathon-rain-eu-lower.toml"),
    include_str!("../scenarios/city-10k-dry-usa.toml"),
];

/// Words worth putting where they do not belong.
const WORDS: [&str; 22] = [
    "nan",
    "-inf",
    "1e999",
    "-1",
    "0",
    "0x7fffffffffffffff",
    "99999999999999999999",
    "true",
    "\"\"",
    "[]",
    "{}",
    "{ min = 2, max = 1 }",
    "{ mean = nan, sd = 1 }",
    "[[point]]\n",
    "[point]\n",
    "name = 1\n",
    "\u{feff}",
    "\"\"\"",
    "é😀",
    "\r\n",
    "antenna = [{}]\n",
    "1979-05-27",
];

/// Loads and renders; either outcome is fine, but errors must be errors.
fn load(text: &str) -> Result<(), TestCaseError> {
    match course::from_text("x.toml", text, Path::new("")) {
        Ok((course, warnings)) => {
            prop_assert!(warnings.iter().all(|d| d.severity == Severity::Warning));
            render_all(&warnings, Style::PLAIN);
            // Whatever loads can be written out and loaded again.
            let resolved = course.resolved_toml();
            let again = course::from_text("x.toml", &resolved, Path::new(""));
            let Ok((again, _)) = again else {
                return Err(TestCaseError::fail(render_all(&again.expect_err("checked"), Style::PLAIN)));
            };
            prop_assert_eq!(again.resolved_toml(), resolved);
        }
        Err(found) => {
            prop_assert!(found.iter().any(|d| d.severity == Severity::Error));
            render_all(&found, Style::PLAIN);
        }
    }
    Ok(())
}

fn boundary(text: &str, share: f64) -> usize {
    let mut at = (share * text.len() as f64) as usize;
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

#[derive(Clone, Debug)]
enum Damage {
    Delete(f64, usize),
    Insert(f64, usize),
    /// Replaces the value after some `=`.
    Value(f64, usize),
    /// Copies some lines elsewhere.
    Copy(f64, f64, usize),
}

fn damage() -> impl Strategy<Value = Damage> {
    let share = 0.0..1.0;
    prop_oneof![
        (share.clone(), 0usize..40).prop_map(|(at, n)| Damage::Delete(at, n)),
        (share.clone(), 0..WORDS.len()).prop_map(|(at, w)| Damage::Insert(at, w)),
        (share.clone(), 0..WORDS.len()).prop_map(|(at, w)| Damage::Value(at, w)),
        (share.clone(), share, 0usize..200).prop_map(|(from, to, n)| Damage::Copy(from, to, n)),
    ]
}

fn apply(text: &mut String, damage: &Damage) {
    match *damage {
        Damage::Delete(at, length) => {
            let start = boundary(text, at);
            let end = text[start..].char_indices().nth(length).map_or(text.len(), |(i, _)| start + i);
            text.replace_range(start..end, "");
        }
        Damage::Insert(at, word) => text.insert_str(boundary(text, at), WORDS[word]),
        Damage::Value(at, word) => {
            let from = boundary(text, at);
            if let Some(equals) = text[from..].find('=').map(|i| from + i + 1) {
                let end = text[equals..].find(['\n', ',', '#', '}']).map_or(text.len(), |i| equals + i);
                text.replace_range(equals..end, &format!(" {} ", WORDS[word]));
            }
        }
        Damage::Copy(from, to, length) => {
            let start = boundary(text, from);
            let end = text[start..].char_indices().nth(length).map_or(text.len(), |(i, _)| start + i);
            let copied = text[start..end].to_owned();
            text.insert_str(boundary(text, to), &copied);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn arbitrary_text(text in "(\\PC|[\\n=\\[\\]{}\",.#0-9a-z_]){0,200}") {
        load(&text)?;
    }

    #[test]
    fn damaged_scenarios(seed in 0..SEEDS.len(), damages in prop::collection::vec(damage(), 1..6)) {
        let mut text = SEEDS[seed].to_owned();
        for damage in &damages {
            apply(&mut text, damage);
        }
        load(&text)?;
    }

    /// One value swapped at a time: the file stays TOML, so the walk and not the parser meets the odd value.
    #[test]
    fn one_odd_value(seed in 0..SEEDS.len(), at in 0.0..1.0, word in 0..WORDS.len()) {
        let mut text = SEEDS[seed].to_owned();
        apply(&mut text, &Damage::Value(at, word));
        load(&text)?;
    }
}

/// A scenario with thousands of problems is read to its end and cut in print; a cost that grows with their square would show as a test that does not end.
#[test]
fn many_problems_are_cut_in_print() {
    let text = SEEDS[1].to_owned() + &(0..20_000).map(|i| format!("[x{i}]\n")).collect::<String>();
    let found = course::from_text("x.toml", &text, Path::new("")).expect_err("20000 unknown tables");
    assert!(found.len() >= 20_000);
    assert!(render_all(&found, Style::PLAIN).len() < 100_000);
}
