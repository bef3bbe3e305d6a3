//! The season split into kinds of races (by region, weather, layout), and the tag that each kind alone would have.

use super::decide::{Choice, choose, mean, ties};
use super::ledger::Ledger;
use crate::estimate::replicates::{Figure, Scale};
use crate::study::season::Season;
use crate::study::season::resolve::Resolved;
use serde::Serialize;

/// Races of one kind, and the tag for them alone.
#[derive(Clone, Debug, Serialize)]
pub struct Group {
    pub name: String,
    pub races: f64,
    pub choice: Option<String>,
    pub ties: Vec<String>,
    /// Missed of all passings of the group, by tag.
    pub miss_rate: Vec<f64>,
}

/// The season split by region, weather or layout.
#[derive(Clone, Debug, Serialize)]
pub struct Split {
    /// `region`, `weather` or `layout`.
    pub by: &'static str,
    pub groups: Vec<Group>,
    /// What choosing group by group saves over one tag for all; none where a group has no choice.
    pub saves: Option<Figure>,
}

/// Races of one kind.
pub struct Kind {
    pub by: &'static str,
    pub name: String,
    /// Site and number of races.
    pub races: Vec<(usize, f64)>,
}

/// The races by region, by weather and by layout, where there are two kinds or more.
pub fn grouped(season: &Season, resolved: &Resolved, races: &[(usize, f64)]) -> Vec<Kind> {
    let label = |by: &str, entry: usize| -> String {
        let course = &resolved.sites[races[entry].0].course;
        match by {
            "region" => course.region.name.clone(),
            "weather" => course.weather.key.clone(),
            _ => season.entries[entry].layout.clone(),
        }
    };
    let mut out = Vec::new();
    for by in ["region", "weather", "layout"] {
        let mut kinds: Vec<Kind> = Vec::new();
        for (entry, race) in races.iter().enumerate() {
            let name = label(by, entry);
            match kinds.iter_mut().find(|kind| kind.name == name) {
                Some(kind) => kind.races.push(*race),
                None => kinds.push(Kind { by, name, races: vec![*race] }),
            }
        }
        if kinds.len() > 1 {
            out.append(&mut kinds);
        }
    }
    out
}

/// What each kind of race would choose, and what that saves over one tag for all; `short` knows the tags that left early, too.
pub fn splits(
    season: &Season,
    (ledger, short): (&Ledger, &Ledger),
    races: &[(usize, f64)],
    base: &Choice,
) -> Vec<Split> {
    let tags = &ledger.resolved.tags;
    let kinds = grouped(season, ledger.resolved, races);
    let of = |kinds: &[Kind]| -> Split {
        let choices: Vec<Choice> = kinds.iter().map(|kind| choose(ledger, &kind.races)).collect();
        let group = |(kind, choice): (&Kind, &Choice)| {
            let passings = ledger.passings(&kind.races).max(1.0);
            let mean = |ledger: &Ledger, tag: usize| {
                let missed = ledger.missed(&kind.races, tag, 0);
                missed.iter().sum::<f64>() / missed.len() as f64 / passings
            };
            let rate = |tag: usize| {
                let whole = mean(ledger, tag);
                if whole.is_nan() { mean(short, tag) } else { whole }
            };
            Group {
                name: kind.name.clone(),
                races: kind.races.iter().map(|(_, n)| n).sum(),
                choice: choice.leader.map(|t| tags[t].name.clone()),
                ties: ties(choice).iter().map(|&t| tags[t].name.clone()).collect(),
                miss_rate: (0..tags.len()).map(rate).collect(),
            }
        };
        let leaders: Option<Vec<usize>> = choices.iter().map(|choice| choice.leader).collect();
        let saves = base.leader.zip(leaders).map(|(one, leaders)| {
            let mut gaps = ledger.decisive(races, one, 0);
            for (kind, tag) in kinds.iter().zip(leaders) {
                gaps.iter_mut().zip(ledger.decisive(&kind.races, tag, 0)).for_each(|(sum, x)| *sum -= x);
            }
            mean(ledger, &gaps, Scale::Plain)
        });
        Split { by: kinds[0].by, groups: kinds.iter().zip(&choices).map(group).collect(), saves }
    };
    kinds.chunk_by(|a, b| a.by == b.by).map(of).collect()
}
