//! Invented paints: names and curves are made up, with no measurement behind them.

use libm::{exp, fmax, log, pow};

use crate::spectrum::{Bands, wavelengths};

/// A paint that does not exist.
#[derive(Debug, Clone, PartialEq)]
pub struct InventedPaint {
    /// Invented name.
    pub name: &'static str,
    /// K in two-flux units per reference film, above 0.
    pub absorption: Bands,
    /// S in two-flux units per reference film, above 0.
    pub scattering: Bands,
}

/// Least absorption of any paint, per reference film: binders are never perfectly clear.
const LEAST_ABSORPTION: f64 = 0.004;

impl InventedPaint {
    /// From K as a function of the wavelength in nm and S as a function of the wavelength over 550 nm.
    fn new(name: &'static str, absorption: fn(f64) -> f64, scattering: fn(f64) -> f64) -> Self {
        Self {
            name,
            absorption: wavelengths().map(|nm| fmax(absorption(nm), LEAST_ABSORPTION)),
            scattering: wavelengths().map(|nm| scattering(nm / 550.0)),
        }
    }

    /// The same paint, `share` of it left in clear medium (or `share` times as thick).
    pub fn thinned(&self, share: f64) -> Self {
        Self {
            name: self.name,
            absorption: self.absorption.map(|k| k * share),
            scattering: self.scattering.map(|s| s * share),
        }
    }
}

/// A symmetric band.
fn hump(nm: f64, centre: f64, width: f64, height: f64) -> f64 {
    let x = (nm - centre) / width;
    height * exp(-0.5 * x * x)
}

/// A band with a steep short-wave flank and a long tail: normal in log(nm - start).
fn skewed(nm: f64, start: f64, peak: f64, spread: f64, height: f64) -> f64 {
    if nm <= start {
        return 0.0;
    }
    let x = log((nm - start) / (peak - start)) / spread;
    height * exp(-0.5 * x * x)
}

/// High below an edge, low above it.
fn below(nm: f64, edge: f64, width: f64, height: f64) -> f64 {
    height / (1.0 + exp((nm - edge) / width))
}

/// Low below an edge, high above it.
fn above(nm: f64, edge: f64, width: f64, height: f64) -> f64 {
    height / (1.0 + exp(-(nm - edge) / width))
}

/// Fourteen paints with smooth absorption.
#[rustfmt::skip]
pub fn first_set() -> Vec<InventedPaint> {
    let p = InventedPaint::new;
    vec![
        p("blue lake", |w| hump(w, 620., 45., 9.) + hump(w, 690., 30., 5.) + hump(w, 400., 25., 1.2) + hump(w, 560., 30., 2.5) + 0.05, |b| 0.08 * pow(b, -2.)),
        p("sea glass", |w| hump(w, 640., 55., 8.) + hump(w, 400., 30., 2.) + 0.05, |b| 0.07 * pow(b, -2.)),
        p("harbour blue", |w| hump(w, 590., 50., 3.2) + hump(w, 540., 25., 0.8) + 0.03, |b| 0.12 / b),
        p("rose lake", |w| hump(w, 530., 35., 5.) + hump(w, 560., 20., 3.) + hump(w, 490., 25., 2.) + 0.03, |b| 0.10 * pow(b, -1.5)),
        p("clear rust", |w| below(w, 575., 14., 5.) + hump(w, 430., 60., 4.) + 0.12, |b| 0.18 * pow(b, -1.2)),
        p("clear yellow", |w| below(w, 490., 10., 4.5) + 0.02, |b| 0.12 / b),
        p("dense yellow", |w| below(w, 505., 7., 6.) + 0.02, |b| 5.0 * pow(b, -0.4)),
        p("dense red", |w| below(w, 595., 8., 7.) + 0.03, |b| 4.0 * pow(b, -0.4)),
        p("field earth", |w| below(w, 520., 18., 2.5) + hump(w, 440., 40., 1.) + 0.25 + hump(w, 660., 60., 0.1), |b| 1.6 * pow(b, -0.5)),
        p("dense white", |w| below(w, 405., 4., 0.6) + 0.01, |b| 14.0 * pow(b, -0.6)),
        p("clear green", |w| hump(w, 610., 50., 2.) + hump(w, 430., 30., 1.8) + 0.08, |b| 0.20 / b),
        p("middle blue", |w| hump(w, 590., 45., 1.8) + hump(w, 640., 30., 1.) + 0.02, |b| 0.60 / b),
        p("brown earth", |w| below(w, 600., 50., 1.6) + 0.9, |b| 0.35 * pow(b, -0.8)),
        p("hearth black", |_| 3.0, |b| 0.12 / b),
    ]
}

/// Fifteen of other shapes: sharp edges, double peaks, weak chroma, hazes.
#[rustfmt::skip]
pub fn second_set() -> Vec<InventedPaint> {
    let p = InventedPaint::new;
    vec![
        p("sharp red", |w| below(w, 612., 4., 6.) + 0.03, |b| 0.15 / b),
        p("sharp orange", |w| below(w, 550., 4., 5.) + 0.015, |b| 1.2 * pow(b, -0.3)),
        p("twin violet", |w| hump(w, 545., 14., 4.) + hump(w, 590., 14., 4.5) + hump(w, 505., 14., 2.) + 0.03, |b| 0.06 * pow(b, -2.)),
        p("twin green", |w| hump(w, 440., 20., 4.) + hump(w, 660., 18., 5.) + hump(w, 615., 14., 2.) + 0.05, |b| 0.10 / b),
        p("steep blue", |w| above(w, 530., 8., 3.5) + hump(w, 405., 12., 1.) + 0.03, |b| 0.10 * pow(b, -2.5)),
        p("faint rose", |w| hump(w, 530., 60., 0.25) + 0.12, |b| 0.35 / b),
        p("grey earth", |w| 0.5 + hump(w, 500., 120., 0.25) - 0.1 * (w - 400.) / 300., |b| 0.90 * pow(b, -0.4)),
        p("dark umber", |w| below(w, 620., 60., 3.) + 1.6, |b| 0.40 * pow(b, -0.8)),
        p("night blue", |w| above(w, 480., 40., 4.) + 1.5, |b| 0.12 * pow(b, -2.)),
        p("smoke blue", |w| 0.08 + 0.02 * w / 550., |b| 0.90 * pow(b, -4.)),
        p("pale haze", |w| 0.02 + below(w, 410., 6., 0.2), |b| 0.60 * pow(b, -3.5)),
        p("garden green", |w| below(w, 480., 12., 2.5) + above(w, 590., 14., 2.) + 0.2, |b| 3.0 * pow(b, -0.3)),
        p("lemon white", |w| below(w, 460., 9., 1.2) + 0.01, |b| 6.0 * pow(b, -0.5)),
        p("strong crimson", |w| hump(w, 520., 50., 12.) + hump(w, 565., 15., 5.) + hump(w, 410., 30., 3.) + 0.02, |b| 0.05 / b),
        p("rising red", |w| below(w, 560., 9., 3.) + 0.05, |b| 0.5 * (1. + above(b * 550., 560., 12., 1.5))),
    ]
}

/// Sixteen of a harbour studio: skewed bands, shoulders, windows, tilted greys, scattering that rises or peaks.
#[rustfmt::skip]
pub fn third_set() -> Vec<InventedPaint> {
    let p = InventedPaint::new;
    vec![
        p("lantern gold", |w| below(w, 515., 9., 5.5) + below(w, 555., 22., 0.7) + 0.02, |b| 0.10 * pow(b, -1.2)),
        p("tide violet", |w| skewed(w, 470., 565., 0.35, 5.5) + hump(w, 600., 12., 1.5) + 0.04, |b| 0.09 * pow(b, -1.8)),
        p("kelp green", |w| below(w, 470., 15., 3.2) + skewed(w, 560., 660., 0.45, 3.6) + 0.10, |b| 0.16 / b),
        p("rope ochre", |w| below(w, 540., 20., 1.8) + hump(w, 470., 50., 0.8) + 0.18, |b| 1.1 * pow(b, -0.2)),
        p("buoy orange", |w| below(w, 578., 7., 6.5) + 0.02, |b| 3.4 * pow(b, -0.1)),
        p("slate veil", |w| 0.22 + hump(w, 620., 90., 0.16), |b| 0.75 * pow(b, -2.2)),
        p("foam white", |w| below(w, 415., 6., 0.35) + 0.006, |b| 9.0 * pow(b, -0.8)),
        p("mussel black", |w| 2.2 + above(w, 520., 60., 1.2), |b| 0.30 * pow(b, -1.5)),
        p("dune yellow", |w| below(w, 498., 16., 2.0) + 0.05, |b| 2.4 * pow(b, -0.3)),
        p("storm blue", |w| above(w, 555., 18., 2.6) + hump(w, 640., 22., 1.4) + 0.15, |b| 0.30 * pow(b, -1.6)),
        p("cliff rose", |w| skewed(w, 430., 525., 0.5, 1.1) + 0.05, |b| 1.8 * pow(b, -0.6)),
        p("net brown", |w| below(w, 590., 35., 3.0) + 0.55, |b| 0.22 * (1. + 0.5 * b)),
        p("mist violet", |w| hump(w, 560., 45., 0.30) + 0.03, |b| 0.85 * pow(b, -2.8)),
        p("shell pink", |w| hump(w, 525., 40., 0.55) + below(w, 430., 8., 0.3) + 0.01, |b| 7.0 * pow(b, -0.5)),
        p("ink green", |w| hump(w, 680., 60., 6.) + hump(w, 430., 45., 3.) + hump(w, 600., 25., 2.2) + 0.35, |b| 0.07 * pow(b, -2.)),
        p("weed amber", |w| below(w, 560., 30., 4.2) + 0.10, |b| 0.14 * (1. + hump(b * 550., 600., 40., 0.6))),
    ]
}

/// Every invented paint.
pub fn all() -> Vec<InventedPaint> {
    [first_set(), second_set(), third_set()].concat()
}

/// A paint by its name.
pub fn named(name: &str) -> Option<InventedPaint> {
    all().into_iter().find(|p| p.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_differ_and_constants_are_usable() {
        let paints = all();
        assert_eq!(paints.len(), 45);
        for (i, paint) in paints.iter().enumerate() {
            assert!(
                paints[..i].iter().all(|p| p.name != paint.name),
                "{} twice",
                paint.name
            );
            let usable = |v: &f64| v.is_finite() && *v >= 1e-3 && *v < 40.0;
            assert!(
                paint.absorption.iter().all(usable) && paint.scattering.iter().all(usable),
                "{}",
                paint.name
            );
        }
    }

    #[test]
    fn thinning_scales_both_constants() {
        let whole = named("rope ochre").unwrap();
        let half = whole.thinned(0.5);
        assert!((half.absorption[3] - 0.5 * whole.absorption[3]).abs() < 1e-15);
        assert!((half.scattering[30] - 0.5 * whole.scattering[30]).abs() < 1e-15);
        assert!(named("no such paint").is_none());
    }
}
