//! The smooth surface between paint and air.
//!
//! Light inside the paint is partly thrown back at the surface, so an internal reflectance R is seen as
//! `entry R / (1 - inner R)` (Saunderson, J. Opt. Soc. Am. 32 (1942) 727, with the entry factor of the 45:0 geometry in
//! place of the integrating sphere's: a flatbed lights at an angle and looks straight down, gloss excluded).

/// Refractive index of the paint. Linseed oil ages from 1.48 to about 1.52 (from memory).
pub const INDEX: f64 = 1.5;
/// Share that enters at 45 degrees and leaves straight up, with the n squared law of radiance: (1-F(0))(1-F(45))/n^2.
pub const ENTRY: f64 = (1.0 - 0.040_000_0) * (1.0 - 0.050_240_0) / (INDEX * INDEX);
/// Diffuse internal reflectance at index 1.5 (Walsh 1926, by his closed formula).
pub const INNER: f64 = 0.596_346;

/// Internal reflectance behind a measured one (inverse of [`to_measured`]).
#[inline]
pub fn to_internal(measured: f64) -> f64 {
    measured / (ENTRY + INNER * measured)
}

/// Change of [`to_internal`] per change of the measured reflectance.
#[inline]
pub fn to_internal_slope(measured: f64) -> f64 {
    let below = ENTRY + INNER * measured;
    ENTRY / (below * below)
}

/// Measured reflectance (gloss excluded) of an internal one.
#[inline]
pub fn to_measured(internal: f64) -> f64 {
    seen_through(ENTRY, INNER, internal)
}

/// What is seen of an internal reflectance through a surface of any entry factor and inner reflectance.
#[inline]
pub fn seen_through(entry: f64, inner: f64, internal: f64) -> f64 {
    entry * internal / (1.0 - inner * internal)
}

/// Fresnel reflectance, unpolarised, for light inside a medium of relative index `index` that meets its surface at an
/// angle of cosine `cosine`. 1 beyond the critical angle.
pub fn fresnel(index: f64, cosine: f64) -> f64 {
    let outside = 1.0 - index * index * (1.0 - cosine * cosine);
    if outside <= 0.0 {
        return 1.0;
    }
    let outside = outside.sqrt();
    let across = (index * cosine - outside) / (index * cosine + outside);
    let along = (index * outside - cosine) / (index * outside + cosine);
    0.5 * (across * across + along * along)
}

/// Diffuse reflectance at the surface from outside, index n > 1 (Walsh 1926, as given by Duntley, J. Opt. Soc. Am. 32
/// (1942) 61).
pub fn walsh_outer(n: f64) -> f64 {
    let n2 = n * n;
    let n4 = n2 * n2;
    0.5 + (n - 1.0) * (3.0 * n + 1.0) / (6.0 * (n + 1.0) * (n + 1.0))
        + n2 * (n2 - 1.0) * (n2 - 1.0) / (n2 + 1.0).powi(3) * libm::log((n - 1.0) / (n + 1.0))
        - 2.0 * n2 * n * (n2 + 2.0 * n - 1.0) / ((n2 + 1.0) * (n4 - 1.0))
        + 8.0 * n4 * (n4 + 1.0) / ((n2 + 1.0) * (n4 - 1.0) * (n4 - 1.0)) * libm::log(n)
}

/// Diffuse reflectance at the surface from inside: 1 - (1 - outer) / n^2 (n squared law).
pub fn walsh_inner(n: f64) -> f64 {
    1.0 - (1.0 - walsh_outer(n)) / (n * n)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_constants_are_those_of_the_formulas() {
        assert!((walsh_inner(INDEX) - INNER).abs() < 1e-6);
        let cosine_inside = (1.0 - 0.5 / (INDEX * INDEX)).sqrt();
        let entry =
            (1.0 - fresnel(INDEX, 1.0)) * (1.0 - fresnel(INDEX, cosine_inside)) / (INDEX * INDEX);
        assert!((entry - ENTRY).abs() < 1e-6, "{entry} {ENTRY}");
    }

    #[test]
    fn internal_and_measured_undo_each_other() {
        for i in 0..=100 {
            let r = f64::from(i) / 100.0;
            assert!((to_internal(to_measured(r)) - r).abs() < 1e-14);
        }
    }
}
