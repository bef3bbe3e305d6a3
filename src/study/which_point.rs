//! Which timing point a study is about.

use crate::course::Course;

/// The scenario has no such timing point.
#[derive(Debug, thiserror::Error)]
#[error("no timing point \"{asked}\" in the scenario; it has {there}")]
pub struct NoPoint {
    pub asked: String,
    pub there: String,
}

/// Index of the point of that name; of the finish (or the first point) when none is asked for.
pub fn which_point(course: &Course, asked: Option<&str>) -> Result<usize, NoPoint> {
    let points = &course.points;
    match asked {
        None => Ok(points.iter().position(|p| p.is_finish).unwrap_or(0)),
        Some(asked) => points.iter().position(|p| p.name == asked).ok_or_else(|| NoPoint {
            asked: asked.to_owned(),
            there: points.iter().map(|p| p.name.as_str()).collect::<Vec<_>>().join(", "),
        }),
    }
}
