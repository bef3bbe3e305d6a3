//! `--html` and `--figures`: the page of a result, and its figures one by one.

use super::args::Pictures;
use super::failure::Failure;
use super::output::Output;
use crate::estimate::whole_file::WholeFile;
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
pub struct Album<'a> {
    page: Option<Output>,
    args: &'a Pictures,
}

impl<'a> Album<'a> {
    /// Opens the page's file and makes the folder, so that what cannot be written is found before the run.
    pub fn open(args: &'a Pictures) -> Result<Album<'a>, Failure> {
        let page = match &args.html {
            Some(path) => Some(Output::open(Some(path))?),
            None => None,
        };
        if let Some(folder) = &args.figures {
            std::fs::create_dir_all(folder).map_err(|e| {
                Failure::Usage(format!("cannot make {}: {e}; choose another --figures", folder.display()))
            })?;
            WholeFile::claim(&folder.join("room"), FIGURES_ROOM_BYTES).map_err(|e| {
                Failure::Usage(format!(
                    "cannot write into {}: {e}; choose another --figures",
                    folder.display()
                ))
            })?;
        }
        Ok(Album { page, args })
    }

    /// Whether a page is wanted at all.
    pub fn wanted(&self) -> bool {
        self.page.is_some() || self.args.figures.is_some()
    }

    /// Pages of a forecast, with the plan of every layout.
    pub fn forecast(&self, prepared: &Prepared, forecast: &Forecast) -> Result<(), Failure> {
        if !self.wanted() {
            return Ok(());
        }
        let seed = forecast.provenance.seed;
        let print = |p: usize| (p, footprint(prepared, seed, p, Detail::PICTURE));
        let points = predict::points_to_draw(&prepared.course, forecast);
        let footprints: Vec<_> = points.into_iter().map(print).collect();
        self.write(&predict::page(forecast, &prepared.course, &footprints))
    }

    /// Writes what was asked for.
    pub fn write(&self, page: &Page) -> Result<(), Failure> {
        if let Some(output) = &self.page {
            let text = html(page).map_err(|e| Failure::Internal(format!("cannot fill in the page: {e}")))?;
            output.write(&text)?;
        }
        if let Some(folder) = &self.args.figures {
            folder::figures(page, folder).map_err(|e| Failure::Internal(e.to_string()))?;
        }
        Ok(())
    }
}
