//! The figures of a page, one by one: SVG, CSV and (feature `png`) PNG files of a folder.

use super::draw::{Dress, draw};
use super::page::Page;
use super::visible::visible;
use crate::files::whole_folder::Files;
use thiserror::Error;

#[derive(Debug, Error)]
pub enum FigureError {
    #[error("figure {figure}: its table could not be written: {cause}")]
    Table { figure: String, cause: csv::Error },
    #[cfg(feature = "png")]
    #[error("figure {figure}: {cause}")]
    Picture { figure: String, cause: super::png::PngError },
}

/// `STUDY-FIGURE.svg`, `.csv` and `.png` of every figure.
pub fn figures(page: &Page) -> Result<Files, FigureError> {
    let mut files = Files::new();
    for figure in &page.figures {
        let mut add = |kind: &str, bytes: Vec<u8>| {
            files.push((format!("{}{}.{kind}", prefix(page), figure.key), bytes));
        };
        let svg = visible(&draw(figure, Dress::Whole)).into_owned();
        let table = figure.table.csv();
        let csv = table.map_err(|cause| FigureError::Table { figure: figure.key.clone(), cause })?;
        #[cfg(feature = "png")]
        {
            let pixels = super::png::png(&svg);
            let bytes = pixels.map_err(|cause| FigureError::Picture { figure: figure.key.clone(), cause })?;
            add("png", bytes);
        }
        add("svg", svg.into_bytes());
        add("csv", visible(&csv).into_owned().into_bytes());
    }
    Ok(files)
}

/// How the names of a page's figures start.
pub fn prefix(page: &Page) -> String {
    format!("{}-", page.study)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn every_figure_is_there_in_every_form() {
        let page = sample::page();
        let files = figures(&page).unwrap();
        let kinds = if cfg!(feature = "png") { 3 } else { 2 };
        assert_eq!(files.len(), kinds * page.figures.len());
        assert!(
            !files.is_empty()
                && files
                    .iter()
                    .all(|(name, bytes)| { name.starts_with(&prefix(&page)) && !bytes.is_empty() })
        );
    }
}
