//! The learning against problems whose answers are known without it: tables are written by hand, everything after them is the code in use.

use super::evidence::{Evidence, Kind, TrialEvidence, View};
use super::likelihood::{Laid, told};
use super::vectors::{INNER, inner, outer};
use crate::course::field::Placement;
use crate::course::weather::Wetness;
use crate::estimate::response::Response;
use crate::estimate::strata::strata;
use crate::estimate::tilt::Tilt;
use crate::estimate::world::Ask;
use crate::outcome::race;
use crate::outcome::trial::{Setting, Trial, Walker};
use crate::passing::{Prepared, prepare};
use crate::random::transform::normal_cdf;
use std::path::Path;
use std::sync::Arc;

const SEED: u64 = 4;

fn prepared(scenario: &str) -> Arc<Prepared> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (course, _) = crate::course::load(&root.join(scenario)).unwrap();
    let (tag, _) = crate::tag::load(&course.tag_folder).unwrap();
    Arc::new(prepare(Arc::new(course), Arc::new(tag)))
}

/// Evidence of one race given as text.
fn race_evidence(name: &str, prepared: &Arc<Prepared>, points: &str) -> Evidence {
    let path = std::env::temp_dir().join(format!("readodds-known-{name}-{}.toml", std::process::id()));
    let scenario = &prepared.course.file_hash.0;
    std::fs::write(&path, format!("[race]\nname = \"R\"\nscenario = {scenario:?}\n{points}")).unwrap();
    let outcome = race::load(&path).unwrap().0;
    std::fs::remove_file(&path).unwrap();
    let mut evidence = Evidence::default();
    evidence.add_race(&outcome, prepared, SEED, 16);
    evidence
}

/// A table with the same odds at every offset and in every stratum.
fn flat(view: &View, groups: usize, odds: impl Fn(usize, usize) -> f64) -> Response {
    let offsets_db = (0..9).map(|k| 0.25 * f64::from(k - 4)).collect();
    Response::made(offsets_db, strata(&view.prepared.course), view.ask.sets() + 2, groups, odds)
}

/// ln L of the groups, whose vectors are all alike here.
fn ln_l(evidence: &Evidence, tables: &[Response], groups: usize) -> Vec<f64> {
    let of = |at: usize| {
        let vectors = inner(&outer(evidence, SEED, at as u64), SEED, at as u64);
        let told = told(evidence, tables, at, &vectors, (SEED, at as u64));
        let sums: Vec<f64> = told.ln_l.iter().map(|l| l.iter().sum()).collect();
        assert_eq!(sums.len(), INNER);
        assert!(sums.iter().all(|l| (l - sums[0]).abs() < 1e-6), "odds that no offset changes");
        sums[0]
    };
    (0..groups).map(of).collect()
}

/// Weights of ln L with a prior, their ln mean, and the mean of anything.
struct Weighed {
    weights: Vec<f64>,
    ln_marginal: f64,
}

impl Weighed {
    fn new(prior: &[f64], ln_l: &[f64]) -> Weighed {
        let total: f64 = prior.iter().sum();
        let most = ln_l.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let raw: Vec<f64> = prior.iter().zip(ln_l).map(|(p, l)| p / total * (l - most).exp()).collect();
        let sum: f64 = raw.iter().sum();
        Weighed { weights: raw.iter().map(|w| w / sum).collect(), ln_marginal: most + sum.ln() }
    }

    fn mean(&self, of: impl Fn(usize) -> f64) -> f64 {
        self.weights.iter().enumerate().map(|(i, w)| w * of(i)).sum()
    }
}

/// Source: conjugate beta-binomial (elementary): Beta(1.2, 598.8) and 3 missed of 1,500 give Beta(4.2, 2095.8); mean 0.002, standard deviation 9.746916e-4,
/// ln marginal −2.1695613, P(p < 0.002) = 0.5647360 (numbers from log gamma and incomplete beta in Python). Tolerance: 0.3 % and 0.003, what a grid of 300 odds leaves.
#[test]
fn val_one_race_is_conjugate() {
    let prepared = prepared("scenarios/smallest.toml");
    let points = "[[point]]\nname = \"finish\"\nreference = \"everyone_filmed\"\npassed = 1500\nmissed = 3\n";
    let evidence = race_evidence("conjugate", &prepared, points);
    const GROUPS: usize = 300;
    // Even in ln p, each with the prior's mass there.
    let p = |i: usize| (-13.0 + 9.0 * (i as f64 + 0.5) / GROUPS as f64).exp();
    let prior: Vec<f64> = (0..GROUPS).map(|i| p(i).powf(1.2) * (1.0 - p(i)).powf(597.8)).collect();
    let table = flat(&evidence.views[0], GROUPS, |group, _| p(group));
    let weighed = Weighed::new(&prior, &ln_l(&evidence, &[table], GROUPS));
    let mean = weighed.mean(p);
    let sd = weighed.mean(|i| (p(i) - mean).powi(2)).sqrt();
    assert!((mean / 0.002 - 1.0).abs() < 0.003, "{mean}");
    assert!((sd / 9.746_916e-4 - 1.0).abs() < 0.003, "{sd}");
    let below = weighed.mean(|i| f64::from(u8::from(p(i) < 0.002)));
    assert!((below - 0.564_736_0).abs() < 0.02, "{below}");
    // Of the prior's mass the grid leaves out what lies below e^-13: P(p < e^-13) of Beta(1.2, 598.8) is some 3e-4.
    assert!((weighed.ln_marginal + 2.169_561_3).abs() < 0.003, "{}", weighed.ln_marginal);
}

/// Many equal races: the spread of ln p becomes 1/√(all missed), the law of counting. Source: Fisher information of a Poisson count (elementary). Tolerance: 3 %.
#[test]
fn val_races_contract_as_counting_does() {
    let prepared = prepared("scenarios/smallest.toml");
    let points =
        "[[point]]\nname = \"finish\"\nreference = \"everyone_filmed\"\npassed = 3000\nmissed = 12\n";
    let one = race_evidence("contract", &prepared, points);
    const GROUPS: usize = 60;
    for races in [4usize, 16] {
        let mut evidence = Evidence { views: one.views.clone(), ..Evidence::default() };
        for _ in 0..races {
            let source = &one.sources[0];
            let again = super::evidence::Source { name: String::new(), view: 0, kind: source.kind.clone() };
            evidence.sources.push(again);
        }
        let sd = 1.0 / (12.0 * races as f64).sqrt();
        let ln_p = |i: usize| (12.0f64 / 3000.0).ln() + sd * (-5.0 + 10.0 * (i as f64 + 0.5) / GROUPS as f64);
        let table = flat(&evidence.views[0], GROUPS, |group, _| ln_p(group).exp());
        let weighed = Weighed::new(&[1.0; GROUPS], &ln_l(&evidence, &[table], GROUPS));
        let mean = weighed.mean(ln_p);
        let got = weighed.mean(|i| (ln_p(i) - mean).powi(2)).sqrt();
        assert!((got / sd - 1.0).abs() < 0.03, "{races}: {got} {sd}");
    }
}

/// Source: a ladder of powers under a probit curve, p(x) = Φ((x − m)/s), m ~ N(9, 2), ln s ~ N(ln 2.5, 0.3), 0, 1, 4 and 11 of 20 missed at 0, 3, 6 and 9 dB; integrated on a fine
/// grid in Python: m 8.61317 ± 0.65517, s 3.09010 ± 0.59745, ln marginal −6.309496, E p(0) 4.463e-3. Tolerance: 0.5 % of the numbers, 0.01 of the marginal.
#[test]
fn val_a_ladder_of_powers() {
    let prepared = prepared("scenarios/smallest.toml");
    let (rows, columns) = (36, 24);
    let m = |i: usize| 9.0 + 2.0 * (-4.0 + 8.0 * ((i / columns) as f64 + 0.5) / rows as f64);
    let ln_s = |i: usize| 2.5f64.ln() + 0.3 * (-4.0 + 8.0 * ((i % columns) as f64 + 0.5) / columns as f64);
    let s = |i: usize| ln_s(i).exp();
    let groups = rows * columns;
    let normal = |z: f64| (-0.5 * z * z).exp();
    let prior: Vec<f64> =
        (0..groups).map(|i| normal((m(i) - 9.0) / 2.0) * normal((ln_s(i) - 2.5f64.ln()) / 0.3)).collect();
    let all = strata(&prepared.course);
    let masks = Ask::standard_masks(&prepared);
    let mut evidence = Evidence::default();
    let (mut settings, mut places) = (Vec::new(), Vec::new());
    let drops = [0.0, 3.0, 6.0, 9.0];
    for (view, drop_db) in drops.into_iter().enumerate() {
        // So many passings that the table's own doubt about small odds plays no part.
        let ask = Ask {
            seed: SEED,
            masks: masks.clone(),
            allocation: vec![1 << 20; all.len()],
            tilt: Tilt::default(),
        };
        evidence.views.push(View { prepared: prepared.clone(), ask });
        places.push((view, 0, 0));
        settings.push(Setting {
            point: String::new(),
            placement: Placement::FrontHigh,
            wetness: Wetness::Dry,
            drop_mdb: (1000.0 * drop_db) as i64,
            attenuated: false,
        });
    }
    let counts = vec![(0, 20, 0), (1, 20, 1), (2, 20, 4), (3, 20, 11)];
    let trial = Trial {
        settings,
        walkers: vec![Walker { counts }],
        told_apart: false,
        passings: 80,
        file_hash: Default::default(),
    };
    let kind = Kind::Trial(TrialEvidence { settings: places, trial });
    evidence.sources.push(super::evidence::Source { name: String::new(), view: 0, kind });
    let odds = |i: usize, drop_db: f64| normal_cdf((drop_db - m(i)) / s(i));
    let tables: Vec<Response> =
        evidence.views.iter().zip(drops).map(|(view, db)| flat(view, groups, |i, _| odds(i, db))).collect();
    // The order of passings is not counted: ln L is that of one order.
    let orders = |n: u64, x: u64| (1..=x).map(|k| ((n - x + k) as f64 / k as f64).ln()).sum::<f64>();
    let weighed = Weighed::new(&prior, &ln_l(&evidence, &tables, groups));
    let (mean_m, mean_s) = (weighed.mean(m), weighed.mean(s));
    let sd = |of: &dyn Fn(usize) -> f64, mean: f64| weighed.mean(|i| (of(i) - mean).powi(2)).sqrt();
    for (got, want) in [
        (mean_m, 8.613_17),
        (sd(&m, mean_m), 0.655_17),
        (mean_s, 3.090_10),
        (sd(&s, mean_s), 0.597_45),
        (weighed.mean(|i| odds(i, 0.0)), 4.463_322e-3),
    ] {
        assert!((got / want - 1.0).abs() < 0.005, "{got} {want}");
    }
    let marginal = weighed.ln_marginal + orders(20, 1) + orders(20, 4) + orders(20, 11);
    assert!((marginal + 6.309_496).abs() < 0.01, "{marginal}");
}

/// Source: exact expectation under a mixture, 98 % of runners missed with odds 0.002 and 2 % with 0.3 at each of three points: 0.00796 are missed at one; of those read at one
/// of the two others at least 0.0074334, of those read at one named other 0.0062055 (elementary). Tolerance: 1e-5 relative.
#[test]
fn val_conditional_references() {
    let prepared = prepared("scenarios/half-marathon-rain-eu-lower.toml");
    let mean = |power: i32| 0.98 * 0.002f64.powi(power) + 0.02 * 0.3f64.powi(power);
    for (seen_at, want) in [("\"15 km\", \"finish\"", 0.007_433_4), ("\"15 km\"", 0.006_205_5)] {
        let points = format!(
            "[[point]]\nname = \"10 km\"\nreference = \"seen_elsewhere\"\nseen_at = [{seen_at}]\npassed = 9\nmissed = 0\n"
        );
        let evidence = race_evidence("conditional", &prepared, &points);
        let tables: Vec<Response> = evidence
            .views
            .iter()
            .map(|view| {
                let asked = view.ask.masks.iter().filter(|m| !m.is_empty()).count();
                let everywhere = view.ask.missed_everywhere();
                flat(view, 1, |_, set| if set == everywhere { mean(asked as i32) } else { mean(1) })
            })
            .collect();
        let u = outer(&evidence, SEED, 0);
        let Kind::Race(race) = &evidence.sources[0].kind else { unreachable!() };
        let super::evidence::Counted::Missed { odds, .. } = &race.counted[0] else { unreachable!() };
        let got = Laid::new(&evidence, &tables, 0, &u).ratio(0, odds)[0][4];
        // The tables hold numbers of 24 bits; the source has five digits.
        assert!((got / want - 1.0).abs() < 1e-5, "{seen_at}: {got} {want}");
    }
}
