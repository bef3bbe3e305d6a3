//! The weather of a race day: which share of the bibs is dry, damp or soaked.

use super::walk::Section;
use crate::diag::codes;
use crate::limits;
use crate::random::quantity::{Quantity, QuantityForm};
use schemars::JsonSchema;
use serde::Serialize;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Wetness {
    Dry,
    Damp,
    Soaked,
}

impl Wetness {
    pub const ALL: [Wetness; 3] = [Wetness::Dry, Wetness::Damp, Wetness::Soaked];
    pub fn key(self) -> &'static str {
        ["dry", "damp", "soaked"][self as usize]
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct Weather {
    /// dry, humid, showers, rain, downpour or own.
    pub key: String,
    /// Share of damp bibs (race draw; the same rank of the day drives both shares).
    pub damp_share: Quantity,
    /// Share of soaked bibs (race draw); damp + soaked never exceed 1.
    pub soaked_share: Quantity,
}

impl Weather {
    /// Shares of dry, damp and soaked bibs on a day of rank `u` in (0, 1): 0 the driest, 1 the wettest.
    pub fn shares(&self, u: f64) -> [f64; 3] {
        let soaked = self.soaked_share.quantile(u).clamp(0.0, 1.0);
        let damp = self.damp_share.quantile(u).clamp(0.0, 1.0 - soaked);
        [1.0 - damp - soaked, damp, soaked]
    }
}

/// `[weather]` as written.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WeatherForm {
    /// dry, humid, showers, rain, downpour, or a name of your own with both shares.
    pub key: String,
    /// Share of damp bibs on a race day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub damp_share: Option<QuantityForm>,
    /// Share of soaked bibs on a race day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub soaked_share: Option<QuantityForm>,
}

impl From<&Weather> for WeatherForm {
    fn from(w: &Weather) -> WeatherForm {
        WeatherForm {
            key: w.key.clone(),
            damp_share: Some(w.damp_share.into()),
            soaked_share: Some(w.soaked_share.into()),
        }
    }
}

/// What a kind of weather does to bibs and road.
pub struct Kind {
    pub key: &'static str,
    pub damp_share: Quantity,
    pub soaked_share: Quantity,
    /// Water standing on the road, mm.
    pub film_mm: Quantity,
}

const fn range(min: f64, max: f64) -> Quantity {
    Quantity::Uniform { min, max }
}

/// Source: our estimate. Nobody has counted wet bibs yet: sweat alone makes some of them damp, an hour of
/// rain soaks most. A film of 0.2 mm changes the road's reflection by less than 0.03, 1 mm of standing
/// water by 0.17 (computed for asphalt at 915 MHz, normal incidence, layered Fresnel formula).
pub const KINDS: [Kind; 5] = [
    Kind {
        key: "dry",
        damp_share: range(0.05, 0.15),
        soaked_share: Quantity::Pinned(0.0),
        film_mm: Quantity::Pinned(0.0),
    },
    Kind {
        key: "humid",
        damp_share: range(0.30, 0.60),
        soaked_share: range(0.0, 0.05),
        film_mm: Quantity::Pinned(0.0),
    },
    Kind {
        key: "showers",
        damp_share: range(0.40, 0.60),
        soaked_share: range(0.05, 0.25),
        film_mm: range(0.0, 0.3),
    },
    Kind {
        key: "rain",
        damp_share: Quantity::Pinned(0.30),
        soaked_share: range(0.40, 0.70),
        film_mm: range(0.2, 1.0),
    },
    Kind {
        key: "downpour",
        damp_share: Quantity::Pinned(0.10),
        soaked_share: range(0.80, 0.90),
        film_mm: range(0.5, 2.0),
    },
];

/// Reads `[weather]`: the weather and the film it leaves on the road.
pub fn read(section: &Section) -> (Weather, Quantity) {
    const SOURCE: &str = "our estimate for this weather";
    let key = section.name("key");
    let own = section.find("damp_share").is_some() && section.find("soaked_share").is_some();
    let kind = key.as_ref().and_then(|key| KINDS.iter().find(|k| k.key == key));
    match (&key, section.find("key")) {
        (None, None) => section.missing("key", "choose dry, humid, showers, rain or downpour"),
        (Some(word), Some(found)) if kind.is_none() && !own => {
            section.unknown_choice("key", &found.span, word, KINDS.iter().map(|k| k.key));
        }
        _ => {}
    }
    let none = Quantity::Pinned(0.0);
    let (damp, soaked, film) = kind.map_or((none, none, none), |k| (k.damp_share, k.soaked_share, k.film_mm));
    let weather = Weather {
        key: key.unwrap_or_default(),
        damp_share: section.belief("damp_share", &limits::SHARE, damp, SOURCE),
        soaked_share: section.belief("soaked_share", &limits::SHARE, soaked, SOURCE),
    };
    section.finish();
    for rank in [1e-9, 0.5, 1.0 - 1e-9] {
        let sum = weather.damp_share.quantile(rank) + weather.soaked_share.quantile(rank);
        if sum > 1.0 + 1e-6 {
            let found = section.find("soaked_share").or_else(|| section.find("damp_share"));
            let span = found.map_or(section.span.clone(), |f| f.span);
            section.walk.note(
                section
                    .walk
                    .error(codes::SHARES_SUM, &span, format!("damp and soaked bibs add up to {sum:.3}, above 1"))
                    .label("shares of one field")
                    .help("what is neither damp nor soaked is dry: keep damp_share + soaked_share at or below 1"),
            );
            break;
        }
    }
    (weather, film)
}
