//! Three-component vectors, real and complex: just enough for rays and polarisation.
//!
//! Frame (design): x along the running direction, y to the runner's left, z up, metres.

use crate::numeric::elementary::pick;
use num_complex::Complex64;
use std::ops::{Add, Mul, Neg, Sub};

#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Vec3 {
    pub x: f64,
    pub y: f64,
    pub z: f64,
}

pub const X: Vec3 = Vec3 { x: 1.0, y: 0.0, z: 0.0 };
pub const Y: Vec3 = Vec3 { x: 0.0, y: 1.0, z: 0.0 };
pub const Z: Vec3 = Vec3 { x: 0.0, y: 0.0, z: 1.0 };

impl Vec3 {
    #[inline(always)]
    pub const fn new(x: f64, y: f64, z: f64) -> Self {
        Vec3 { x, y, z }
    }
    #[inline(always)]
    pub fn dot(self, o: Vec3) -> f64 {
        self.x * o.x + self.y * o.y + self.z * o.z
    }
    #[inline(always)]
    pub fn cross(self, o: Vec3) -> Vec3 {
        Vec3::new(self.y * o.z - self.z * o.y, self.z * o.x - self.x * o.z, self.x * o.y - self.y * o.x)
    }
    #[inline(always)]
    pub fn norm(self) -> f64 {
        self.dot(self).sqrt()
    }
    /// Unit vector of the same direction; the length must not be zero.
    #[inline(always)]
    pub fn unit(self) -> Vec3 {
        self * (1.0 / self.norm())
    }
    /// Direction with azimuth from +x towards +y and elevation up from the horizontal, degrees.
    pub fn from_azimuth_elevation_deg(azimuth_deg: f64, elevation_deg: f64) -> Vec3 {
        let (sin_az, cos_az) = libm::sincos(azimuth_deg.to_radians());
        let (sin_el, cos_el) = libm::sincos(elevation_deg.to_radians());
        Vec3::new(cos_el * cos_az, cos_el * sin_az, sin_el)
    }
    /// `a` where `first`, else `b`, without a jump.
    #[inline(always)]
    pub fn choose(first: bool, a: Vec3, b: Vec3) -> Vec3 {
        Vec3::new(pick(first, a.x, b.x), pick(first, a.y, b.y), pick(first, a.z, b.z))
    }
    #[inline(always)]
    pub fn mirrored_in_z(self) -> Vec3 {
        Vec3::new(self.x, self.y, -self.z)
    }
}

impl Add for Vec3 {
    type Output = Vec3;
    #[inline(always)]
    fn add(self, o: Vec3) -> Vec3 {
        Vec3::new(self.x + o.x, self.y + o.y, self.z + o.z)
    }
}
impl Sub for Vec3 {
    type Output = Vec3;
    #[inline(always)]
    fn sub(self, o: Vec3) -> Vec3 {
        Vec3::new(self.x - o.x, self.y - o.y, self.z - o.z)
    }
}
impl Neg for Vec3 {
    type Output = Vec3;
    #[inline(always)]
    fn neg(self) -> Vec3 {
        Vec3::new(-self.x, -self.y, -self.z)
    }
}
impl Mul<f64> for Vec3 {
    type Output = Vec3;
    #[inline(always)]
    fn mul(self, s: f64) -> Vec3 {
        Vec3::new(self.x * s, self.y * s, self.z * s)
    }
}

/// Complex field vector.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Field {
    pub x: Complex64,
    pub y: Complex64,
    pub z: Complex64,
}

impl Field {
    #[inline(always)]
    pub fn along(direction: Vec3, amplitude: Complex64) -> Field {
        Field { x: amplitude * direction.x, y: amplitude * direction.y, z: amplitude * direction.z }
    }
    #[inline(always)]
    pub fn dot(self, v: Vec3) -> Complex64 {
        self.x * v.x + self.y * v.y + self.z * v.z
    }
}

impl Add for Field {
    type Output = Field;
    #[inline(always)]
    fn add(self, o: Field) -> Field {
        Field { x: self.x + o.x, y: self.y + o.y, z: self.z + o.z }
    }
}
