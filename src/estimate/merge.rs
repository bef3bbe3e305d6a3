//! Shards to one run: every race exactly once, all made from the same inputs by the same program.

use super::rows_file::{Header, Part, RowsFile};
use super::run::FORECAST;
use super::shard::{Shard, WHOLE};
use std::collections::BTreeMap;

/// Merged rows in the order of worlds under the header of the whole run, or everything that keeps the files apart. Files come with
/// the name to call them by; their order does not matter.
pub fn merge(files: Vec<(String, RowsFile)>) -> Result<(Header, Part), Vec<String>> {
    let Some((first_name, first)) = files.first() else {
        return Err(vec!["no file of world rows to merge".to_owned()]);
    };
    let mut problems = Vec::new();
    for (name, file) in &files {
        if file.parts.len() != 1 || file.header.study != FORECAST {
            problems.push(format!("{name} is the checkpoint of a study, not a shard of a forecast"));
        }
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    for (name, file) in &files[1..] {
        for difference in first.header.differences(&file.header) {
            problems.push(format!("{name} does not go with {first_name}: {difference}"));
        }
        if problems.is_empty() && file.parts[0].ask != first.parts[0].ask {
            problems.push(format!("{name} does not go with {first_name}: allocation of passings to strata"));
        }
    }
    let Some(worlds) = first.header.plan.worlds else {
        problems
            .push(format!("{first_name} comes from a run without a fixed number of worlds; use --worlds"));
        return Err(problems);
    };
    if !problems.is_empty() {
        return Err(problems);
    }
    let mut owners: BTreeMap<u64, &str> = BTreeMap::new();
    let mut twice: BTreeMap<(String, String), Vec<u64>> = BTreeMap::new();
    for (name, file) in &files {
        let wanted = file.header.shard.worlds(worlds).count();
        if file.parts[0].rows.len() < wanted {
            problems.push(format!(
                "{name} is not finished: {} of {wanted} worlds; run shard {} again",
                file.parts[0].rows.len(),
                file.header.shard
            ));
        }
        for row in &file.parts[0].rows {
            if let Some(owner) = owners.insert(row.world, name) {
                twice.entry((owner.to_owned(), name.clone())).or_default().push(row.world);
            }
        }
    }
    for ((one, other), list) in twice {
        problems.push(format!(
            "worlds {} stand both in {one} and in {other}; leave one of them out",
            ranges(&list)
        ));
    }
    let missing: Vec<u64> = (0..worlds).filter(|world| !owners.contains_key(world)).collect();
    if !missing.is_empty() {
        let of = first.header.shard.of;
        let absent: Vec<String> = (0..of)
            .map(|index| Shard { index, of })
            .filter(|shard| !files.iter().any(|(_, file)| file.header.shard == *shard))
            .map(|shard| shard.to_string())
            .collect();
        let hint = if absent.is_empty() {
            String::new()
        } else {
            format!("; no file of shard {}", absent.join(", "))
        };
        problems.push(format!("worlds {} are missing{hint}", ranges(&missing)));
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    let header = Header { shard: WHOLE, ..first.header.clone() };
    let (name, ask) = (first.parts[0].name.clone(), first.parts[0].ask.clone());
    let mut rows: Vec<_> = files.into_iter().flat_map(|(_, file)| file.parts).flat_map(|p| p.rows).collect();
    rows.sort_by_key(|row| row.world);
    Ok((header, Part { name, ask, rows }))
}

/// `3, 7-9, 12`; at most ten pieces.
fn ranges(sorted: &[u64]) -> String {
    let mut pieces: Vec<(u64, u64)> = Vec::new();
    for &value in sorted {
        match pieces.last_mut() {
            Some((_, end)) if *end + 1 == value => *end = value,
            _ => pieces.push((value, value)),
        }
    }
    let more = pieces.len().saturating_sub(10);
    let piece = |&(a, b): &(u64, u64)| if a == b { a.to_string() } else { format!("{a}-{b}") };
    let text = pieces.iter().take(10).map(piece).collect::<Vec<String>>().join(", ");
    if more > 0 { format!("{text} and {more} more ranges") } else { text }
}

#[cfg(test)]
#[path = "merge_tests.rs"]
mod tests;
