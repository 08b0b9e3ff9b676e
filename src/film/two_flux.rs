//! The textbook model: two diffuse fluxes (Kubelka and Munk 1931; Kubelka, J. Opt. Soc. Am. 38 (1948) 448 and 44 (1954)
//! 330). Kept as the comparison, for its published tables, and for direct mixes.
//!
//! All reflectances are internal (surface removed). Units: K and S per unit thickness, X thickness.

use super::{Response, surface};

/// Diffuse reflectance over an ideal black (R0) and transmittance (T) of one layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    /// Reflectance from above over nothing.
    pub reflectance: f64,
    /// Transmittance.
    pub transmittance: f64,
}

/// One homogeneous layer of K X = `kx` and S X = `sx`, both at least 0.
pub fn layer(kx: f64, sx: f64) -> Layer {
    if sx == 0.0 {
        return Layer {
            reflectance: 0.0,
            transmittance: libm::exp(-kx),
        };
    }
    let a = 1.0 + kx / sx;
    // b^2 = a^2 - 1, without the cancellation for small K/S.
    let b = (kx / sx * (2.0 + kx / sx)).sqrt();
    let depth = b * sx;
    if depth < 1e-6 {
        // K -> 0: sinh(bSX)/b -> SX (1 + (bSX)^2 / 6), cosh -> 1 + (bSX)^2 / 2.
        let (sinh_b, cosh) = (sx * (1.0 + depth * depth / 6.0), 1.0 + depth * depth / 2.0);
        let d = a * sinh_b + cosh;
        return Layer {
            reflectance: sinh_b / d,
            transmittance: 1.0 / d,
        };
    }
    // Divided through by cosh, so that thick layers do not overflow.
    let tanh = libm::tanh(depth);
    let d = a * tanh + b;
    let inverse_cosh = if depth < 700.0 {
        1.0 / libm::cosh(depth)
    } else {
        0.0
    };
    Layer {
        reflectance: tanh / d,
        transmittance: b * inverse_cosh / d,
    }
}

impl Layer {
    /// Reflectance over a ground of reflectance `ground`.
    pub fn over(&self, ground: f64) -> f64 {
        let t2 = self.transmittance * self.transmittance;
        self.reflectance + t2 * ground / (1.0 - ground * self.reflectance)
    }

    /// The same layer seen through the paint-to-air surface, in the form that [`super::transport`] gives.
    pub fn seen(&self) -> Response {
        let inside = 1.0 - surface::INNER * self.reflectance;
        let t2 = self.transmittance * self.transmittance;
        Response {
            a: surface::to_measured(self.reflectance),
            b: surface::ENTRY * t2 / (inside * inside),
            c: self.reflectance + surface::INNER * t2 / inside,
        }
    }
}

/// Two layers on top of each other (Kubelka 1954): reflectance from above, transmittance, reflectance from below.
/// `upper` and `lower` are homogeneous layers, the same from both sides.
pub fn combined(upper: Layer, lower: Layer) -> (f64, f64, f64) {
    let between = 1.0 / (1.0 - upper.reflectance * lower.reflectance);
    let (tu2, tl2) = (
        upper.transmittance * upper.transmittance,
        lower.transmittance * lower.transmittance,
    );
    (
        upper.reflectance + tu2 * lower.reflectance * between,
        upper.transmittance * lower.transmittance * between,
        lower.reflectance + tl2 * upper.reflectance * between,
    )
}

/// Reflectance of a layer too thick to see through: 1 + K/S - sqrt((K/S)^2 + 2 K/S).
pub fn reflectivity(k: f64, s: f64) -> f64 {
    let q = k / s;
    1.0 / (1.0 + q + (q * (q + 2.0)).sqrt())
}

/// K X and S X of one layer from its reflectances over two known grounds, or `None` where the pair of reflectances belongs
/// to no layer or hides the grounds.
///
/// a = ((1 + Rw Gw)(Rb - Gb) - (1 + Rb Gb)(Rw - Gw)) / (2 (Rb Gw - Rw Gb)), then coth(b S X) from the black pair (from
/// Kubelka's 1948 forms; Rw, Rb over white and black grounds Gw, Gb).
pub fn from_two_grounds(
    over_white: f64,
    over_black: f64,
    white: f64,
    black: f64,
) -> Option<(f64, f64)> {
    let (rw, rb, gw, gb) = (over_white, over_black, white, black);
    let a =
        ((1.0 + rw * gw) * (rb - gb) - (1.0 + rb * gb) * (rw - gw)) / (2.0 * (rb * gw - rw * gb));
    if a.is_nan() || a <= 1.0 {
        return None;
    }
    let b = (a * a - 1.0).sqrt();
    let coth = (1.0 - a * (rb + gb) + rb * gb) / (b * (rb - gb));
    if coth.is_nan() || coth <= 1.0 {
        return None;
    }
    // arcoth(x) = log((x + 1) / (x - 1)) / 2.
    let sx = 0.5 * libm::log((coth + 1.0) / (coth - 1.0)) / b;
    Some(((a - 1.0) * sx, sx))
}
