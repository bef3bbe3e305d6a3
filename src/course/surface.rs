//! The road under the timing point.

use crate::random::quantity::Quantity;

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

#[derive(Clone, Debug)]
pub struct Surface {
    pub material: Material,
    /// Thickness of the water film on the road, mm (race draw).
    pub film_mm: Quantity,
    /// Temperature of that water, °C.
    pub water_c: f64,
}
