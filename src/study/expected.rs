//! Which estimator gives the expected miss rate of a set of lines, and whether it can be trusted.
//!
//! Race days (`estimate::run`) show how races differ, but where misses are rare a handful of bad batches or bad days carries the
//! mean, and their spread tells too small an error. The estimators of `estimate::rare` look at the expected rate alone and search for what
//! makes it. Their answer stands only if it fits what the race days say: the two must agree within their joint error. An
//! estimate below the race days by more than that has missed something, and the race days are kept. One above them is the
//! usual sign of too few race days, and is said.
//! The choice depends on the rows of the run only, so threads, checkpoints and shards do not change it.

use crate::estimate::closer_look::CloserLook;
use crate::estimate::rare::watch::BrokenOff;
use crate::estimate::rare::{CrossCheck, Estimate, Method, Request};
use crate::estimate::run::Plan;
use crate::estimate::run::{Estimator, RARE_RATE, Run};
use crate::estimate::stop::{Stopped, shortfall};
use crate::estimate::summary::Summary;
use crate::passing::Prepared;
use serde::{Deserialize, Serialize};

/// Added to the run's seed: these passings share no numbers with those of the race days.
const SEED_OFFSET: u64 = 0x6a09_e667_f3bc_c908;
/// Loosest relative standard error asked for, and the tightest worth the time.
const LOOSEST: f64 = 0.2;
const TIGHTEST: f64 = 0.02;
/// Share of the error allowed that is asked for: what a pilot foretells is uncertain.
const AIM: f64 = 0.8;
/// Fewest passings of a second stage, whatever --max-passings says.
const LEAST_CALLS: u64 = 1000;
/// Joint standard errors on the logarithmic scale beyond which two estimates do not fit together.
const JOINT_Z: f64 = 3.0;
/// Name of the estimator that is none of the rare-miss ones.
pub const RACE_DAYS: &str = "race days";
const LOOK_CLOSER: &str = "below 1 in 10,000 few race days carry the mean, and their own error comes out too small; \
--estimator importance looks closer";
const NO_INTERVAL: &str = "the rate is that of the race days so far; so rare, it hangs on few of them, and no honest interval \
can be given yet";
/// Why the race days alone may say less than an estimator.
const TOO_FEW_DAYS: &str = "nearly all misses fall on a few bad batches and days, and too few of the race days drawn met one; so they alone \
say less. The estimator looks for such days on purpose, and its rate stands";

/// How an expected miss rate was found, with what is needed to doubt it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Found {
    /// race days, plain, stratified, sobol or importance.
    pub estimator: String,
    pub why: String,
    /// Passings behind the rate, and those spent before on finding out how.
    pub passings: u64,
    pub pilot_passings: u64,
    /// (Σ y)² / Σ y² over the weighted scores; none for race days.
    pub effective_misses: Option<f64>,
    /// Largest share of the rate one passing carries.
    pub largest_share: Option<f64>,
    /// Share of passings above a relaxed bar, by plain sampling and by the importance density, and their difference in
    /// standard errors.
    pub relaxed_plain: Option<f64>,
    pub relaxed_importance: Option<f64>,
    pub relaxed_z: Option<f64>,
    /// What the race days alone say.
    pub race_days_rate: f64,
    pub race_days_low: f64,
    pub race_days_high: f64,
    /// Whether the two fit together within their joint error.
    pub agrees: bool,
    /// Broken off before all of the work was done.
    pub unfinished: bool,
    /// False where the interval beside the rate is too narrow to be believed.
    pub interval_known: bool,
    /// What else the reader must know.
    pub notes: Vec<String>,
}

impl Found {
    /// The interval of the computation, if there is an honest one.
    pub fn interval(&self, summary: &Summary) -> Option<(f64, f64)> {
        self.interval_known.then_some((summary.mc_low, summary.mc_high))
    }

    /// What the race days say, no reason given yet.
    fn by_race_days(days: &Summary, passings: u64) -> Found {
        Found {
            estimator: RACE_DAYS.to_owned(),
            why: String::new(),
            passings,
            pilot_passings: 0,
            effective_misses: None,
            largest_share: None,
            relaxed_plain: None,
            relaxed_importance: None,
            relaxed_z: None,
            race_days_rate: days.miss_rate,
            race_days_low: days.mc_low,
            race_days_high: days.mc_high,
            agrees: true,
            unfinished: false,
            interval_known: true,
            notes: Vec::new(),
        }
    }
}

/// The rate to report for lines `mask` of a point, given what the race days say, and how it was found.
pub fn expected(
    prepared: &Prepared,
    plan: &Plan,
    run: &Run,
    (point, mask): (usize, u64),
    by_days: Summary,
    look: &mut CloserLook,
) -> (Summary, Found) {
    let passings = run.rows.iter().map(|row| row.passings).sum();
    let mut found = Found::by_race_days(&by_days, passings);
    let sets: usize = run.ask.masks.iter().map(Vec::len).sum();
    let (request, why) = match wanted(plan, run, &by_days, sets as u64) {
        Ok(wanted) => wanted,
        Err(why) => {
            found.why = why.to_owned();
            found.unfinished = run.stopped == Stopped::Interrupted;
            if by_days.miss_rate < RARE_RATE {
                found.interval_known = !found.unfinished;
                let note = if found.unfinished { NO_INTERVAL } else { LOOK_CLOSER };
                found.notes.push(note.to_owned());
            }
            short_by_days(&by_days, plan, &mut found);
            return (by_days, found);
        }
    };
    let answer = if run.stopped == Stopped::Interrupted || look.stopped() {
        Err(BrokenOff { so_far: None })
    } else {
        look.estimate(prepared, point, mask, &request)
    };
    found.why = why;
    let answer = match answer {
        Ok(answer) => answer,
        Err(BrokenOff { so_far: Some(answer) }) => {
            found.unfinished = true;
            *answer
        }
        Err(BrokenOff { so_far: None }) => {
            found.unfinished = true;
            found.why = "broken off before another estimator had an answer".to_owned();
            if by_days.miss_rate < RARE_RATE {
                found.interval_known = false;
                found.notes.push(NO_INTERVAL.to_owned());
            }
            return (by_days, found);
        }
    };
    let calls = answer.calls;
    let (summary, mut found) = judge(by_days, answer, found, &plan.estimator);
    if found.estimator == RACE_DAYS {
        short_by_days(&summary, plan, &mut found);
    } else if let Some(how) = short(&summary, plan).filter(|_| !found.unfinished) {
        // All but importance sampling asked for by name take what they may have.
        let spent = calls as f64 > 0.9 * request.max_calls as f64
            || request.method != Some(Method::Importance) && request.method.is_some();
        found.notes.push(if spent {
            format!("{how}; it used up its share of --max-passings: raise that for more")
        } else {
            format!(
                "{how}; its pilot took the task for easier than it is: a smaller --precision looks longer"
            )
        });
    }
    (summary, found)
}

/// How precisely a rate is known, if that is less than asked for.
fn short(summary: &Summary, plan: &Plan) -> Option<String> {
    let known = (summary.miss_rate, summary.standard_error);
    if summary.none_met || shortfall(&[known], &plan.precision) <= 1.0 {
        return None;
    }
    Some(format!(
        "known to {:.1} % (standard error), {} % were asked for",
        100.0 * summary.standard_error / summary.miss_rate,
        100.0 * plan.precision.relative
    ))
}

fn short_by_days(summary: &Summary, plan: &Plan, found: &mut Found) {
    if let Some(how) = short(summary, plan).filter(|_| !found.unfinished) {
        let more = if plan.races.is_some() { "--races" } else { "--max-passings" };
        found.notes.push(format!("{how}; more race days narrow it: raise {more}"));
    }
}

/// What to ask of the rare-miss estimators, and why; or why the race days do.
fn wanted(plan: &Plan, run: &Run, by_days: &Summary, sets: u64) -> Result<(Request, String), &'static str> {
    let method = match plan.estimator {
        Estimator::RaceDays => return Err("asked for"),
        Estimator::Auto => None,
        Estimator::Plain => Some(Method::Plain),
        Estimator::Stratified => Some(Method::Stratified),
        Estimator::Sobol => Some(Method::Sobol),
        Estimator::Importance => Some(Method::Importance),
    };
    let precision = &plan.precision;
    let target = (precision.absolute / by_days.miss_rate.max(1e-300))
        .clamp(precision.relative, LOOSEST.max(precision.relative));
    let request = Request {
        method,
        target_cov: AIM * target.max(TIGHTEST),
        max_calls: (precision.max_passings / sets.max(1)).max(LEAST_CALLS),
        ..Request::new(plan.seed.wrapping_add(SEED_OFFSET))
    };
    if method.is_some() {
        return Ok((request, "asked for".to_owned()));
    }
    if plan.races.is_some() {
        Err("a fixed number of race days was asked for")
    } else if by_days.none_met || by_days.miss_rate < RARE_RATE {
        Ok((request, "below 1 in 10,000, where few race days carry the mean".to_owned()))
    } else if run.stopped == Stopped::Interrupted {
        Err("the run was broken off among its race days")
    } else if by_days.standard_error > (precision.relative * by_days.miss_rate).max(precision.absolute) {
        Ok((request, "race days alone would need more passings than --max-passings allows".to_owned()))
    } else {
        Err("they reached the precision")
    }
}

/// The better of the two answers, with every doubt noted.
fn judge(by_days: Summary, answer: Estimate, mut found: Found, asked: &Estimator) -> (Summary, Found) {
    found.notes.extend(answer.notes.iter().cloned());
    let days_error = if by_days.none_met { 0.0 } else { by_days.standard_error / by_days.miss_rate };
    let none_met = answer.mean <= 0.0;
    let apart = if by_days.none_met {
        if answer.interval.low > by_days.mc_high { f64::INFINITY } else { 0.0 }
    } else if none_met {
        if answer.interval.high < by_days.mc_low { f64::NEG_INFINITY } else { 0.0 }
    } else {
        libm::log(answer.mean / by_days.miss_rate)
            / (days_error * days_error + answer.cov * answer.cov).sqrt()
    };
    found.agrees = apart.abs() <= JOINT_Z;
    let name = answer.method.words();
    let keep_days = if apart < -JOINT_Z {
        Some(format!("{name} gave a lower rate, beyond the joint error: it may have missed a cause"))
    } else if *asked == Estimator::Auto
        && !by_days.none_met
        && by_days.miss_rate >= RARE_RATE
        && answer.cov > days_error
    {
        Some(format!("{name} was no more precise"))
    } else if none_met && !by_days.none_met {
        Some(format!("{name} met no miss, the race days did"))
    } else {
        None
    };
    if let Some(reason) = keep_days {
        found.pilot_passings = answer.calls + answer.pilot_calls;
        found.why = reason;
        if !none_met || by_days.miss_rate >= RARE_RATE {
            return (by_days, found);
        }
        // So rare, the race days' own error is too small: what the other could not exclude stays in the interval.
        let (low, high) =
            (by_days.mc_low.min(answer.interval.low), by_days.mc_high.max(answer.interval.high));
        return (Summary { mc_low: low, mc_high: high, ..by_days }, found);
    }
    if apart > JOINT_Z {
        found.notes.push(TOO_FEW_DAYS.to_owned());
    }
    let relaxed = answer.cross_check;
    let check = |part: fn(&CrossCheck) -> f64| relaxed.as_ref().map(part);
    found.estimator = answer.method.name().to_owned();
    found.passings = answer.calls;
    found.pilot_passings = answer.pilot_calls;
    found.effective_misses = Some(answer.effective_misses);
    found.largest_share = Some(answer.largest_share);
    found.relaxed_plain = check(|c| c.plain);
    found.relaxed_importance = check(|c| c.importance);
    found.relaxed_z = check(|c| c.z);
    let summary = Summary {
        miss_rate: answer.mean,
        mc_low: answer.interval.low,
        mc_high: answer.interval.high,
        standard_error: if none_met { 0.0 } else { answer.cov * answer.mean },
        none_met,
        ..by_days
    };
    (summary, found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::rare::Interval;

    fn days(rate: f64, error: f64) -> Summary {
        Summary {
            miss_rate: rate,
            mc_low: (rate - 2.0 * error).max(0.0),
            mc_high: rate + 2.0 * error,
            standard_error: error,
            none_met: rate == 0.0,
            race_p05: 0.0,
            race_p95: 3.0 * rate,
        }
    }

    fn answer(mean: f64, cov: f64) -> Estimate {
        Estimate {
            method: Method::Importance,
            mean,
            interval: Interval { low: mean * (1.0 - 2.0 * cov), high: mean * (1.0 + 2.0 * cov) },
            cov,
            calls: 1000,
            pilot_calls: 500,
            replications: 12,
            effective_misses: 100.0,
            largest_share: 0.02,
            cross_check: None,
            notes: Vec::new(),
        }
    }

    fn blank() -> Found {
        Found::by_race_days(&days(0.0, 0.0), 1)
    }

    #[test]
    fn an_estimate_that_fits_is_taken_with_its_own_error() {
        let (summary, found) = judge(days(2e-5, 6e-6), answer(2.4e-5, 0.08), blank(), &Estimator::Auto);
        assert!(found.agrees && found.estimator == "importance" && found.notes.is_empty(), "{found:?}");
        assert_eq!((summary.miss_rate, summary.race_p95), (2.4e-5, days(2e-5, 6e-6).race_p95));
        assert!((summary.standard_error / 2.4e-5 - 0.08).abs() < 1e-12);
    }

    #[test]
    fn an_estimate_far_below_the_race_days_is_set_aside() {
        let (summary, found) = judge(days(2e-5, 2e-6), answer(4e-6, 0.08), blank(), &Estimator::Importance);
        assert!(!found.agrees && found.estimator == "race days" && found.why.contains("may have missed"));
        assert_eq!(summary.miss_rate, 2e-5);
        // No estimate at all against clear race days.
        let mut nothing = answer(0.0, f64::INFINITY);
        nothing.interval = Interval { low: 0.0, high: 1e-6 };
        let (_, found) = judge(days(2e-5, 2e-6), nothing, blank(), &Estimator::Auto);
        assert!(!found.agrees && found.estimator == "race days");
    }

    /// Rates of 2e-8 by race days and a limit of 1e-4 go together: neither is thrown away.
    #[test]
    fn without_a_miss_the_race_days_stand_with_the_wider_interval() {
        let mut nothing = answer(0.0, f64::INFINITY);
        nothing.interval = Interval { low: 0.0, high: 1e-4 };
        let (summary, found) = judge(days(2e-8, 2e-9), nothing, blank(), &Estimator::Auto);
        assert!(found.agrees && found.estimator == RACE_DAYS, "{found:?}");
        assert_eq!((summary.miss_rate, summary.mc_low, summary.mc_high), (2e-8, 0.0, 1e-4));
    }

    #[test]
    fn an_estimate_far_above_the_race_days_is_taken_and_said() {
        let (summary, found) = judge(days(1e-8, 2e-9), answer(9e-7, 0.08), blank(), &Estimator::Auto);
        assert!(!found.agrees && found.notes.iter().any(|n| n == TOO_FEW_DAYS), "{found:?}");
        assert_eq!(summary.miss_rate, 9e-7);
        let (_, found) = judge(days(0.0, 0.0), answer(9e-7, 0.08), blank(), &Estimator::Auto);
        assert!(!found.agrees);
    }

    #[test]
    fn common_misses_stay_with_the_more_precise_race_days() {
        let (summary, found) = judge(days(1e-2, 6e-4), answer(1.1e-2, 0.09), blank(), &Estimator::Auto);
        assert!(found.agrees && found.estimator == "race days" && summary.miss_rate == 1e-2);
    }
}
