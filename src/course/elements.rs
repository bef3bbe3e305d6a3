//! A mat or panel of several elements: how many, how far apart, fed together or one after another.
//!
//! Fed together, the elements share the power and their fields add at the tag (`passing::elements`); fed in turn, each has the port to itself for a
//! dwell time, so an antenna of n elements is read as n antennas, each with the gain of one element. With a lossless feed the gain of n
//! equal elements in phase is n times that of one (source: C. A. Balanis, Antenna Theory, 4th ed. 2016, §6.3, from memory; coupling left out).

use super::antenna::Antenna;
use super::walk::Section;
use crate::limits;
use crate::units::power_ratio_to_db;
use crate::vector::Vec3;

/// Equal elements in a row across the boresight (its horizontal axis), fed together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Elements {
    pub count: usize,
    pub spacing_m: f64,
}

impl Elements {
    pub const ONE: Elements = Elements { count: 1, spacing_m: 0.0 };

    /// Places of the elements along the row, m from its middle.
    pub fn places_m(self) -> impl Iterator<Item = f64> {
        (0..self.count).map(move |i| (i as f64 - 0.5 * (self.count - 1) as f64) * self.spacing_m)
    }

    /// Gain of all elements together over that of one, dB.
    pub fn gain_db(self) -> f64 {
        power_ratio_to_db(self.count as f64)
    }
}

/// How the elements are fed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Feed {
    Together,
    InTurn,
}

/// Default spacing: our estimate, three quarters of a wavelength at 900 MHz.
const SPACING_M: f64 = 0.25;

/// Reads `elements`, `element_spacing_m` and `feed`.
pub fn read(section: &Section) -> (Elements, Feed) {
    let count = section.whole("elements", &limits::ELEMENTS).unwrap_or(1) as usize;
    if count == 1 {
        for key in ["element_spacing_m", "feed"] {
            if section.find_own(key).is_some() && section.find("elements").is_none() {
                section.missing("elements", "say how many elements the antenna has");
            }
            let _ = section.find(key);
        }
        if section.find("elements").is_none() && section.text("kind").as_deref() == Some("mat") {
            section.walk.assume(
                format!("{}.elements", section.kind),
                "1".to_owned(),
                "our estimate: one lobe a mat; several patches fed together read less beside the mat",
            );
        }
        return (Elements::ONE, Feed::Together);
    }
    let spacing_m =
        section.number_or("element_spacing_m", &limits::ELEMENT_SPACING_M, SPACING_M, "our estimate");
    let feeds = [("together", Feed::Together), ("in_turn", Feed::InTurn)];
    let feed = match section.find("feed") {
        Some(_) => section.choice("feed", &feeds).unwrap_or(Feed::Together),
        None => {
            section.walk.assume(
                format!("{}.feed", section.kind),
                "together".to_owned(),
                "our estimate: one splitter behind one connector",
            );
            Feed::Together
        }
    };
    (Elements { count, spacing_m }, feed)
}

/// The antenna itself where its elements are fed together; else an antenna for each of them.
pub fn antennas(antenna: Antenna, feed: Feed) -> Vec<Antenna> {
    if feed == Feed::Together {
        return vec![antenna];
    }
    let across = antenna.across();
    let middle = Vec3::new(antenna.x_m, antenna.y_m, antenna.z_m);
    let one = |(i, place_m): (usize, f64)| {
        let at = middle + across * place_m;
        Antenna {
            name: format!("{}, element {}", antenna.name, i + 1),
            x_m: at.x,
            y_m: at.y,
            z_m: at.z,
            gain_dbi: antenna.gain_dbi - antenna.elements.gain_db(),
            elements: Elements::ONE,
            ..antenna.clone()
        }
    };
    antenna.elements.places_m().enumerate().map(one).collect()
}
