//! To be written. (types only)

use super::Ground;

/// One film over one ground, crossings pooled.
#[derive(Debug, Clone, PartialEq)]
pub struct PooledCell {
    /// Index into the layout's films.
    pub film: usize,
    /// White or black.
    pub ground: Ground,
    /// Mean in the profile's additive space.
    pub additive: [f64; 3],
    /// Standard deviation of that mean.
    pub additive_sd: [f64; 3],
    /// Share of pixels at the channel's lower end.
    pub clipped_low: [f64; 3],
    /// Share of pixels at the channel's upper end.
    pub clipped_high: [f64; 3],
    /// XYZ of the mean.
    pub xyz: [f64; 3],
    /// Standard deviation of `xyz`.
    pub xyz_sd: [f64; 3],
    /// Pixels averaged.
    pub pixels: u64,
    /// Share left out.
    pub rejected_share: f64,
}

/// A bare stripe colour.
#[derive(Debug, Clone, PartialEq)]
pub struct BareStripe {
    /// XYZ.
    pub xyz: [f64; 3],
    /// Standard deviation of the mean.
    pub xyz_sd: [f64; 3],
}

/// What a card measures.
#[derive(Debug, Clone, PartialEq)]
pub struct Sampled {
    /// Pooled by film and ground.
    pub pooled: Vec<PooledCell>,
    /// Bare white.
    pub white: BareStripe,
    /// Bare black.
    pub black: BareStripe,
    /// Spread inside each film, as a share.
    pub evenness: Vec<f64>,
    /// Rows X, Y, Z: additive space to XYZ.
    pub to_xyz: [[f64; 3]; 3],
}

/// Samples a card.
pub fn sample(_scan: &crate::scan::Scan, _layout: &super::Layout) -> crate::Result<Sampled> {
    todo!()
}
