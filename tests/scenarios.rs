//! Every shipped scenario loads without a complaint, says that it is invented, and survives being resolved.

use readodds::course;
use std::path::PathBuf;

fn scenarios() -> Vec<PathBuf> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let mut paths: Vec<_> = std::fs::read_dir(folder)
        .expect("scenarios")
        .map(|entry| entry.expect("entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    paths.sort();
    assert!(paths.len() >= 8, "{paths:?}");
    paths
}

fn read(path: &PathBuf) -> (course::Course, String) {
    let text = std::fs::read_to_string(path).expect("text");
    let folder = path.parent().expect("folder");
    match course::from_text("scenario.toml", &text, folder) {
        Ok((course, warnings)) => {
            assert!(warnings.is_empty(), "{}: {warnings:?}", path.display());
            (course, text)
        }
        Err(found) => panic!(
            "{}:\n{}",
            path.display(),
            readodds::diag::render::render_all(&found, readodds::diag::render::Style::PLAIN)
        ),
    }
}

#[test]
fn every_scenario_loads_and_says_it_is_invented() {
    for path in scenarios() {
        let (course, text) = read(&path);
        let first = text.lines().next().unwrap_or_default();
        assert!(first.starts_with("# Invented") || first.starts_with("# Template"), "{}", path.display());
        assert!(course.finish().is_some(), "{}", path.display());
        assert!(!course.assumptions().is_empty());
    }
}

#[test]
fn a_resolved_scenario_is_the_same_course() {
    for path in scenarios() {
        let (course, _) = read(&path);
        let resolved = course.resolved_toml();
        let (again, warnings) = course::from_text("scenario.toml", &resolved, path.parent().expect("folder"))
            .expect("resolved loads");
        assert!(warnings.is_empty());
        assert_eq!(again.resolved_toml(), resolved, "{}", path.display());
        assert_eq!(again.points, course.points);
        assert_eq!((&again.region, &again.weather), (&course.region, &course.weather));
        assert_eq!((&again.field, &again.beliefs), (&course.field, &course.beliefs));
        assert_eq!((again.effects, &again.tag_folder), (course.effects, &course.tag_folder));
    }
}
