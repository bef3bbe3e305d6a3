//! The expected rates that race days do not give: worked out set of lines by set of lines, kept between starts of a run.

use super::rare::crossing::PointMiss;
use super::rare::watch::{BrokenOff, Stage, Watch};
use super::rare::{Estimate, Request, estimate_watched};
use crate::passing::Prepared;
use serde::{Deserialize, Serialize};

/// Work on the expected rate of one set of lines.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SetWork {
    pub point: usize,
    /// Bit mask of the lines.
    pub mask: u64,
    pub request: Request,
    /// Second stages done or begun; none once there is an answer.
    pub stages: Vec<Stage>,
    pub answer: Option<Estimate>,
}

/// A closer look at the sets of lines of a run, one after the other.
pub struct CloserLook<'a> {
    /// Asked often, by all threads.
    pub stop: &'a (dyn Fn() -> bool + Sync),
    /// What is done, also by an earlier start.
    pub sets: Vec<SetWork>,
    /// Told of the sets while the last of them grows.
    pub tell: &'a mut dyn FnMut(&[SetWork]),
}

impl CloserLook<'_> {
    pub fn stopped(&self) -> bool {
        (self.stop)()
    }

    /// The estimate for the lines `mask` of a point.
    pub fn estimate(
        &mut self,
        prepared: &Prepared,
        point: usize,
        mask: u64,
        request: &Request,
    ) -> Result<Estimate, BrokenOff> {
        let kept = self
            .sets
            .iter()
            .position(|set| (set.point, set.mask) == (point, mask) && set.request == *request);
        let mut set = kept.map(|at| self.sets.remove(at)).unwrap_or_else(|| SetWork {
            point,
            mask,
            request: *request,
            stages: Vec::new(),
            answer: None,
        });
        let outcome = match set.answer.take() {
            Some(answer) => Ok(answer),
            None => self.work_on(prepared, &mut set),
        };
        if let Ok(answer) = &outcome {
            set.stages.clear();
            set.answer = Some(answer.clone());
        }
        self.sets.push(set);
        (self.tell)(&self.sets);
        outcome
    }

    fn work_on(&mut self, prepared: &Prepared, set: &mut SetWork) -> Result<Estimate, BrokenOff> {
        let (sets, tell) = (&mut self.sets, &mut self.tell);
        // The set at work is told at the end of those that are done.
        sets.push(set.clone());
        let mut grown = |stages: &[Stage]| {
            if let Some(last) = sets.last_mut() {
                last.stages = stages.to_vec();
            }
            tell(sets);
        };
        let mut watch = Watch { stop: self.stop, stages: std::mem::take(&mut set.stages), tell: &mut grown };
        let problem = PointMiss::new(prepared, set.point, set.mask, set.request.seed);
        let outcome = estimate_watched(&problem, &set.request, &mut watch);
        set.stages = watch.stages;
        self.sets.pop();
        outcome
    }
}
