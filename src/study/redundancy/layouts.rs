//! Layouts of a timing point as sets of lines, scored on the same passings.
//!
//! A candidate *on top* only adds lines, so every choice of such candidates is a set of lines of one course that has them all. A candidate that
//! *changes* standing lines needs a course of its own. So: one group for each choice of changes, in it all candidates on top; a layout is a group
//! and a bit mask of its lines. Lines do not act on each other in the model (each reader counts its own contenders), so a line's odds are
//! the same whatever stands beside it (tested).

use super::catalogue::{Candidate, Catalogue};
use crate::diag::{Diagnostic, Severity};
use crate::passing::{Prepared, prepare_like};
use std::sync::Arc;

/// Most candidates in one layout, most layouts, most candidates combined at all.
const MOST_TOGETHER: usize = 3;
const MOST_LAYOUTS: usize = 400;
const MOST_COMBINED: usize = 16;

/// Courses that differ in what they change; `masks` are filled in by the study.
pub struct Group {
    /// Numbers of the candidates that change standing lines.
    pub changes: Vec<usize>,
    pub prepared: Prepared,
    /// Lines that stand without any candidate on top.
    pub standing: u64,
    /// Lines of each candidate on top.
    pub on_top: Vec<(usize, u64)>,
}

/// One layout: the candidates in it, where it is scored, what it costs (none: a candidate without a price).
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    pub candidates: Vec<usize>,
    pub group: usize,
    pub mask: u64,
    pub cost: Option<f64>,
}

/// A candidate that cannot be built, and why.
pub struct Refused {
    pub candidate: usize,
    pub problems: Vec<Diagnostic>,
}

/// All groups, the layout as it is first, and what cannot be built. Only candidates together in a layout of at most three share a group.
pub fn groups(
    base: &Prepared,
    catalogue: &Catalogue,
    point: usize,
    candidates: &[Candidate],
) -> (Vec<Group>, Vec<Layout>, Vec<Refused>) {
    let old = base.points[point].lines.len();
    let stands = &base.course.points[point].lines;
    let (mut on_top, mut changing, mut refused) = (Vec::new(), Vec::new(), Vec::new());
    for (i, candidate) in candidates.iter().enumerate().take(MOST_COMBINED) {
        match catalogue.build(&base.course, point, &[candidate]) {
            Err(found) => {
                let problems = found.into_iter().filter(|d| d.severity == Severity::Error).collect();
                refused.push(Refused { candidate: i, problems });
            }
            Ok((course, _)) => {
                let lines = &course.points[point].lines;
                if lines.len() > old && lines[..old] == stands[..] {
                    on_top.push((i, lines.len() - old));
                } else {
                    changing.push(i);
                }
            }
        }
    }
    let mut groups = Vec::new();
    for changes in subsets(&changing) {
        // Alone on its changes if it does not go together with what comes on top.
        let with_all = build(base, catalogue, point, candidates, &changes, &on_top);
        match with_all.or_else(|_| build(base, catalogue, point, candidates, &changes, &[])) {
            Ok(group) => groups.push(group),
            Err(problems) => refused.extend(changes.last().map(|&candidate| Refused { candidate, problems })),
        }
    }
    let layouts = layouts(&groups, candidates);
    (groups, layouts, refused)
}

/// All subsets of at most three, the empty one first.
fn subsets(of: &[usize]) -> Vec<Vec<usize>> {
    let n = of.len();
    let mut list: Vec<Vec<usize>> = (0..1usize << n)
        .filter(|set| set.count_ones() as usize <= MOST_TOGETHER)
        .map(|set| (0..n).filter(|i| set >> i & 1 == 1).map(|i| of[i]).collect())
        .collect();
    list.sort_by(|a: &Vec<usize>, b| a.len().cmp(&b.len()).then(a.cmp(b)));
    list
}

fn build(
    base: &Prepared,
    catalogue: &Catalogue,
    point: usize,
    candidates: &[Candidate],
    changes: &[usize],
    on_top: &[(usize, usize)],
) -> Result<Group, Vec<Diagnostic>> {
    let chosen = |numbers: &[usize]| numbers.iter().map(|&i| &candidates[i]).collect::<Vec<_>>();
    let standing = if changes.is_empty() {
        base.points[point].lines.len()
    } else {
        catalogue.build(&base.course, point, &chosen(changes))?.0.points[point].lines.len()
    };
    let mut numbers: Vec<usize> = changes.to_vec();
    numbers.extend(on_top.iter().map(|(i, _)| *i));
    // In the order of the catalogue, whatever is combined: a copy is one of the lines before later changes.
    numbers.sort_unstable();
    let prepared = if numbers.is_empty() {
        base.clone()
    } else {
        let (course, _) = catalogue.build(&base.course, point, &chosen(&numbers))?;
        prepare_like(Arc::new(course), base.tag.clone(), base)
    };
    let lines = prepared.points[point].lines.len();
    if lines != standing + on_top.iter().map(|(_, more)| more).sum::<usize>() || lines > 63 {
        return Err(Vec::new());
    }
    let mut first = standing;
    let mut masks = Vec::new();
    for &(i, more) in on_top {
        masks.push((i, ((1u64 << more) - 1) << first));
        first += more;
    }
    Ok(Group { changes: changes.to_vec(), prepared, standing: (1u64 << standing) - 1, on_top: masks })
}

/// Every layout of at most three candidates, by cost (those without a price last), the one as it is first.
fn layouts(groups: &[Group], candidates: &[Candidate]) -> Vec<Layout> {
    let mut list = Vec::new();
    for (g, group) in groups.iter().enumerate() {
        let tops: Vec<usize> = (0..group.on_top.len()).collect();
        for top in subsets(&tops) {
            if top.len() + group.changes.len() > MOST_TOGETHER {
                continue;
            }
            let mut chosen = group.changes.clone();
            chosen.extend(top.iter().map(|&t| group.on_top[t].0));
            chosen.sort_unstable();
            let mask = top.iter().fold(group.standing, |mask, &t| mask | group.on_top[t].1);
            let cost = chosen.iter().map(|&i| candidates[i].cost).sum();
            list.push(Layout { candidates: chosen, group: g, mask, cost });
        }
    }
    list.sort_by(by_cost);
    list.truncate(MOST_LAYOUTS);
    list
}

/// The layout as it is first, then by cost (without a price last), size and candidates.
pub fn by_cost(a: &Layout, b: &Layout) -> std::cmp::Ordering {
    let price = |l: &Layout| l.cost.unwrap_or(f64::INFINITY);
    let empty = |l: &Layout| !l.candidates.is_empty();
    empty(a)
        .cmp(&empty(b))
        .then(price(a).total_cmp(&price(b)))
        .then(a.candidates.len().cmp(&b.candidates.len()))
        .then(a.candidates.cmp(&b.candidates))
}
