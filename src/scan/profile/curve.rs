//! One-dimensional curves of ICC profiles.

use moxcms::ToneReprCurve;

use super::Unusable;

/// A curve from 0..1 to about 0..1.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Curve {
    /// `(a x + b)^g + e` from `d` on, `c x + f` below (ICC.1:2022, table 68, function 4, which holds the others).
    Parametric {
        g: f64,
        a: f64,
        b: f64,
        c: f64,
        d: f64,
        e: f64,
        f: f64,
    },
    /// Equally spaced values, straight lines between.
    Sampled(Vec<f32>),
}

impl Curve {
    pub(super) const IDENTITY: Self = Self::Parametric {
        g: 1.0,
        a: 1.0,
        b: 0.0,
        c: 0.0,
        d: 0.0,
        e: 0.0,
        f: 0.0,
    };

    pub(super) fn power(g: f64) -> Self {
        Self::Parametric {
            g,
            a: 1.0,
            b: 0.0,
            c: 0.0,
            d: 0.0,
            e: 0.0,
            f: 0.0,
        }
    }

    pub(super) fn new(icc: &ToneReprCurve) -> Result<Self, Unusable> {
        let curve = match icc {
            ToneReprCurve::Lut(values) => match values[..] {
                // ICC.1:2022, 10.6: none is the identity, one is an exponent in 256ths.
                [] => Self::IDENTITY,
                [exponent] => Self::power(f64::from(exponent) / 256.0),
                _ => Self::Sampled(values.iter().map(|&v| f32::from(v) / 65535.0).collect()),
            },
            ToneReprCurve::Parametric(parameters) => {
                let parameters: Vec<f64> = parameters.iter().map(|&v| f64::from(v)).collect();
                Self::parametric(&parameters).ok_or(Unusable::Absurd)?
            }
        };
        let ends = [curve.at(0.0), curve.at(0.5), curve.at(1.0)];
        if ends.iter().all(|v| v.is_finite()) {
            Ok(curve)
        } else {
            Err(Unusable::Absurd)
        }
    }

    /// The five functions of ICC.1:2022, table 68.
    fn parametric(parameters: &[f64]) -> Option<Self> {
        Some(match *parameters {
            [g] => Self::power(g),
            [g, a, b] => Self::Parametric {
                g,
                a,
                b,
                c: 0.0,
                d: -b / a,
                e: 0.0,
                f: 0.0,
            },
            [g, a, b, c] => Self::Parametric {
                g,
                a,
                b,
                c: 0.0,
                d: -b / a,
                e: c,
                f: c,
            },
            [g, a, b, c, d] => Self::Parametric {
                g,
                a,
                b,
                c,
                d,
                e: 0.0,
                f: 0.0,
            },
            [g, a, b, c, d, e, f] => Self::Parametric {
                g,
                a,
                b,
                c,
                d,
                e,
                f,
            },
            _ => return None,
        })
    }

    pub(super) fn at(&self, x: f64) -> f64 {
        match self {
            Self::Parametric {
                g,
                a,
                b,
                c,
                d,
                e,
                f,
            } => {
                if x >= *d {
                    libm::pow((a * x + b).max(0.0), *g) + e
                } else {
                    c * x + f
                }
            }
            Self::Sampled(values) => interpolate(values, x),
        }
    }

    /// The curve at every 16-bit code.
    pub(super) fn by_code(&self) -> Vec<f32> {
        const CODES: usize = 1 << 16;
        (0..CODES)
            .map(|code| self.at(code as f64 / (CODES - 1) as f64) as f32)
            .collect()
    }

    /// The curve as equally spaced values: its own, or this many of a formula.
    pub(super) fn sampled(&self, values: usize) -> Vec<f32> {
        match self {
            Self::Sampled(own) => own.clone(),
            _ => (0..values)
                .map(|i| self.at(i as f64 / (values - 1) as f64) as f32)
                .collect(),
        }
    }
}

/// Straight lines between equally spaced values; the ends beyond them. `values` must not be empty.
pub(super) fn interpolate(values: &[f32], x: f64) -> f64 {
    let last = values.len() - 1;
    let position = x.clamp(0.0, 1.0) * last as f64;
    let below = (position as usize).min(last.saturating_sub(1));
    let share = position - below as f64;
    let (low, high) = (
        f64::from(values[below]),
        f64::from(values[(below + 1).min(last)]),
    );
    low + (high - low) * share
}
