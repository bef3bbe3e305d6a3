//! The road under the timing point.

use super::walk::Section;
use crate::limits;
use crate::random::quantity::{Quantity, QuantityForm};
use schemars::JsonSchema;
use serde::Serialize;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Material {
    Asphalt,
    Concrete,
    Brick,
    Wood,
    VeryDryGround,
    MediumDryGround,
    WetGround,
    Metal,
}

impl Material {
    /// Names in a scenario.
    pub const NAMES: [(&str, Material); 8] = [
        ("asphalt", Material::Asphalt),
        ("concrete", Material::Concrete),
        ("brick", Material::Brick),
        ("wood", Material::Wood),
        ("very_dry_ground", Material::VeryDryGround),
        ("medium_dry_ground", Material::MediumDryGround),
        ("wet_ground", Material::WetGround),
        ("metal", Material::Metal),
    ];
    pub fn key(self) -> &'static str {
        Material::NAMES[self as usize].0
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct Surface {
    pub material: Material,
    /// Thickness of the water film on the road, mm (race draw).
    pub film_mm: Quantity,
    /// Thickness of the water film on antennas that lie on the road, mm (race draw, the rank of the road's film).
    pub film_on_mats_mm: Quantity,
    /// Temperature of that water, °C.
    pub water_c: f64,
}

/// Share of the road's film that stands on a mat, which is raised and drains to its edges. Source: our estimate; film depth of P. G. Ross and
/// N. E. Russam, RRL report LR 236, 1968, d = 0.015 √(L·I)·N^0.2 cm (from memory) is 0.14 mm for L = 0.5 m of flow at I = 0.5 cm/h and a
/// slope of 1 in N = 20, a quarter of the 0.6 mm that we take for a road in rain.
const FILM_ON_MATS_SHARE: f64 = 0.25;

/// `[point.surface]` as written; every key may also stand in `[every_point.surface]`.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SurfaceForm {
    /// asphalt, concrete, brick, wood, very_dry_ground, medium_dry_ground, wet_ground or metal. Turf: one of the grounds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub material: Option<String>,
    /// Water standing on the road, mm; default from the weather.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub film_mm: Option<QuantityForm>,
    /// Water standing on mats that lie on the road, mm; default a quarter of what the weather leaves on the road.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub film_on_mats_mm: Option<QuantityForm>,
    /// Temperature of that water, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub water_c: Option<f64>,
}

impl From<&Surface> for SurfaceForm {
    fn from(s: &Surface) -> SurfaceForm {
        SurfaceForm {
            material: Some(s.material.key().to_owned()),
            film_mm: Some(s.film_mm.into()),
            film_on_mats_mm: Some(s.film_on_mats_mm.into()),
            water_c: Some(s.water_c),
        }
    }
}

/// Reads a surface. `film_mm` is what the weather leaves on a road.
pub fn read(section: &Section, film_mm: Quantity) -> Surface {
    let material = match section.find("material") {
        Some(_) => section.choice("material", &Material::NAMES).unwrap_or(Material::Asphalt),
        None => {
            section.walk.assume(
                "surface.material".to_owned(),
                "asphalt".to_owned(),
                "our estimate, the usual road",
            );
            Material::Asphalt
        }
    };
    let surface = Surface {
        material,
        film_mm: section.quantity_or("film_mm", &limits::FILM_MM, film_mm, "our estimate for this weather"),
        film_on_mats_mm: section.quantity_or(
            "film_on_mats_mm",
            &limits::FILM_MM,
            film_mm.times(FILM_ON_MATS_SHARE),
            "our estimate: mats are raised and drain",
        ),
        water_c: section.number_or("water_c", &limits::WATER_C, 15.0, "our estimate"),
    };
    section.finish();
    surface
}
