//! Who was missed: runners by placement of the bib, beside a chance sample of all runners.
//!
//! `missed_were = { covered = 7, front_high = 2 }` and `sample_were = { front_high = 81, covered = 19 }`. Without the sample the missed tell nothing: nobody knows how
//! many covered bibs there were.

use super::Reference;
use crate::course::field::Placement;
use crate::course::walk::Section;
use crate::diag::codes;
use crate::limits;

/// Runners by placement.
pub type ByPlacement = Vec<(Placement, u64)>;

/// Those missed of whom it is known, and a chance sample of all.
#[derive(Clone, Debug, PartialEq)]
pub struct Who {
    pub missed: ByPlacement,
    pub sample: ByPlacement,
}

impl Who {
    pub fn total(list: &ByPlacement) -> u64 {
        list.iter().map(|w| w.1).sum()
    }

    pub fn of(list: &ByPlacement, placement: Placement) -> u64 {
        list.iter().filter(|w| w.0 == placement).map(|w| w.1).sum()
    }
}

/// The two tables of a point; `missed` is the most that may be described.
pub fn who(section: &Section, reference: Option<&Reference>, missed: Option<u64>) -> Option<Who> {
    let (described, sample) = (by_placement(section, "missed_were"), by_placement(section, "sample_were"));
    let at = section.find_own("missed_were")?.span;
    if section.find_own("sample_were").is_none() {
        section.missing(
            "sample_were",
            "beside those missed give a chance sample of all runners, a hundred at least: without it nobody knows whether covered bibs were missed often or were many",
        );
        return None;
    }
    let (described, sample) = (described?, sample?);
    let wrong = |message: String, help: &str| {
        section.walk.note(section.walk.error(codes::OUTCOME_COUNTS, &at, message).help(help));
    };
    if matches!(reference, Some(Reference::SeenElsewhere(_) | Reference::OtherLine { .. })) {
        wrong(
            "who was missed is asked of all runners, this point counts only some".to_owned(),
            "give it where everyone, a chance sample or the list of bibs is the reference",
        );
        return None;
    }
    let total = Who::total(&described);
    if missed.is_some_and(|most| total > most) {
        let most = missed.unwrap_or(0);
        wrong(
            format!("{total} missed runners are described, {most} were missed"),
            "describe each of them once",
        );
        return None;
    }
    if Who::total(&sample) == 0 {
        wrong(
            "the sample holds nobody".to_owned(),
            "count a chance sample of all runners, a hundred at least",
        );
        return None;
    }
    Some(Who { missed: described, sample })
}

fn by_placement(section: &Section, key: &'static str) -> Option<ByPlacement> {
    let found = section.find(key)?;
    let table = section.section_of(key, &found, key);
    let of = |placement: Placement| Some((placement, table.whole(placement.key(), &limits::COUNTED)?));
    let out = Placement::ALL.into_iter().filter_map(of).collect();
    table.finish();
    Some(out)
}
