//! Figures and pages, drawn from the same result structs as the text and the JSON.

pub mod cautions;
pub mod check_text;
pub mod draw;
pub mod drivers_text;
pub mod explain_text;
pub mod figure;
pub mod figures;
pub mod folder;
mod font;
pub mod html;
pub mod justification;
pub mod lab_session_text;
pub mod lab_text;
pub mod learn_text;
pub mod marks;
pub mod page;
pub mod pages;
pub mod palette;
pub mod panel;
#[cfg(feature = "png")]
pub mod png;
pub mod predict_text;
pub mod rank_text;
pub mod reads_text;
pub mod redundancy_text;
#[cfg(test)]
#[path = "../../tests/sample/mod.rs"]
mod sample;
pub mod scale;
pub mod score_text;
pub mod svg;
pub mod table;
pub mod text_width;
pub mod trial_sheet;
pub mod trial_text;
pub mod visible;
pub mod words;
