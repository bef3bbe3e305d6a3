//! `--html` and `--figures`: the page of a result, and its figures one by one.

use super::args::Pictures;
use super::failure::Failure;
use super::output::Output;
use super::places::Places;
use crate::files::whole_folder::WholeFolder;
use crate::passing::Prepared;
use crate::report::folder;
use crate::report::html::html;
use crate::report::page::Page;
use crate::report::pages::predict;
use crate::study::footprint::{Detail, footprint};
use crate::study::predict::Forecast;

/// Room the figures of a forecast take at most, looked for before the run.
const FIGURES_ROOM_BYTES: u64 = 8 << 20;

/// Where the pictures go, probed before a long run.
pub struct Album {
    page: Option<Output>,
    figures: Option<WholeFolder>,
}

impl Album {
    /// Opens the page's file and looks at the folder, so that what cannot be written is found before the run.
    pub fn open(args: &Pictures, places: &mut Places) -> Result<Album, Failure> {
        let page = match &args.html {
            Some(path) => Some(places.file("--html", Some(path))?),
            None => None,
        };
        let figures = match &args.figures {
            Some(path) => Some(places.folder("--figures", path, FIGURES_ROOM_BYTES)?),
            None => None,
        };
        Ok(Album { page, figures })
    }

    /// Whether a page is wanted at all.
    pub fn wanted(&self) -> bool {
        self.page.is_some() || self.figures.is_some()
    }

    /// Pages of a forecast, with the plan of every layout.
    pub fn forecast(self, prepared: &Prepared, forecast: &Forecast) -> Result<(), Failure> {
        if !self.wanted() {
            return Ok(());
        }
        let seed = forecast.provenance.seed;
        let print = |p: usize| (p, footprint(prepared, seed, p, Detail::PICTURE));
        let points = predict::points_to_draw(&prepared.course, forecast);
        let footprints: Vec<_> = points.into_iter().map(print).collect();
        self.write(&predict::page(forecast, &prepared.course, &footprints))
    }

    /// Writes what was asked for. Figures of other studies in the folder stay.
    pub fn write(self, page: &Page) -> Result<(), Failure> {
        if let Some(mut output) = self.page {
            let text = html(page).map_err(|e| Failure::Internal(format!("cannot fill in the page: {e}")))?;
            output.write(&text)?;
        }
        if let Some(folder) = self.figures {
            let files = folder::figures(page).map_err(|e| Failure::Internal(e.to_string()))?;
            let (path, own) = (folder.path().to_owned(), folder::prefix(page));
            let written = folder.replace(&files, |name| !name.starts_with(&own));
            written.map_err(|e| Failure::Write(format!("cannot write {}: {e}", path.display())))?;
        }
        Ok(())
    }
}
