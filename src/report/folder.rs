//! The figures of a page, one by one: SVG, CSV and (feature `png`) PNG files in a folder.

use super::draw::{Dress, draw};
use super::page::Page;
use std::io::Write;
use std::path::{Path, PathBuf};
use thiserror::Error;

#[derive(Debug, Error)]
pub enum WriteError {
    #[error("{path}: {cause}")]
    File { path: PathBuf, cause: std::io::Error },
    #[error("figure {figure}: its table could not be written: {cause}")]
    Table { figure: String, cause: csv::Error },
    #[cfg(feature = "png")]
    #[error("figure {figure}: {cause}")]
    Picture { figure: String, cause: super::png::PngError },
    #[error("the page could not be filled in: {0}")]
    Page(#[from] minijinja::Error),
}

/// Writes `study-figure.svg`, `.csv` and `.png` for every figure; makes the folder. Returns the paths written.
pub fn figures(page: &Page, folder: &Path) -> Result<Vec<PathBuf>, WriteError> {
    let file_error = |path: &Path, cause| WriteError::File { path: path.into(), cause };
    std::fs::create_dir_all(folder).map_err(|cause| file_error(folder, cause))?;
    let mut written = vec![];
    for figure in &page.figures {
        let stem = folder.join(format!("{}-{}", page.study, figure.key));
        let svg = draw(figure, Dress::Whole);
        let table = figure.table.csv();
        let csv = table.map_err(|cause| WriteError::Table { figure: figure.key.clone(), cause })?;
        #[cfg(feature = "png")]
        {
            let pixels = super::png::png(&svg);
            let bytes = pixels.map_err(|cause| WriteError::Picture { figure: figure.key.clone(), cause })?;
            written.push(replace(&stem.with_extension("png"), &bytes)?);
        }
        written.push(replace(&stem.with_extension("svg"), svg.as_bytes())?);
        written.push(replace(&stem.with_extension("csv"), csv.as_bytes())?);
    }
    Ok(written)
}

/// Writes the page as one HTML file.
pub fn page(page: &Page, file: &Path) -> Result<(), WriteError> {
    let text = super::html::html(page)?;
    replace(file, text.as_bytes()).map(|_| ())
}

/// Writes through a file beside the target and a rename, so that nobody finds half a file.
fn replace(path: &Path, bytes: &[u8]) -> Result<PathBuf, WriteError> {
    let file_error = |cause| WriteError::File { path: path.into(), cause };
    let mut name = path.file_name().unwrap_or_default().to_os_string();
    name.push(format!(".part-{}", std::process::id()));
    let part = path.with_file_name(name);
    let write = || -> std::io::Result<()> {
        let mut file = std::fs::File::create(&part)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        std::fs::rename(&part, path)
    };
    write().map_err(|cause| {
        std::fs::remove_file(&part).ok();
        file_error(cause)
    })?;
    Ok(path.into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn a_folder_gets_every_figure_and_no_leftovers() {
        let folder = std::env::temp_dir().join(format!("readodds-figures-{}", std::process::id()));
        let page = sample::page();
        let written = figures(&page, &folder).unwrap();
        let kinds = if cfg!(feature = "png") { 3 } else { 2 };
        assert_eq!(written.len(), kinds * page.figures.len());
        let mut found: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().path()).collect();
        let mut expected = written.clone();
        found.sort();
        expected.sort();
        assert_eq!(found, expected);
        std::fs::remove_dir_all(&folder).unwrap();
    }
    #[test]
    fn a_folder_that_cannot_be_made_is_named() {
        let error = figures(&sample::page(), Path::new("/dev/null/x")).unwrap_err();
        assert!(error.to_string().starts_with("/dev/null/x: "), "{error}");
    }
}
