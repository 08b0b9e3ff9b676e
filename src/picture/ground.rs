//! What films lie on: an underpainting colour with its spectrum and how well that is known.

use nalgebra::{Matrix3, SMatrix, Vector3};

use crate::{
    colour::{self, Lab, Xyz},
    film::surface,
    paint::file::Surface,
    spectrum::{self, BANDS, BandCovariance, Bands},
};

/// A ground that films lie on.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// Its colour as seen, before any film.
    pub lab: Lab,
    /// Its internal reflectance on the bands.
    pub internal: Bands,
    /// How well that is known: its covariance.
    pub covariance: BandCovariance,
}

/// What is known of a dry underpainting colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured<'a> {
    /// As seen, D50, 45:0.
    pub lab: Lab,
    /// Covariance of L*, a*, b*: how well the colour itself is known.
    pub spread: Matrix3<f64>,
    /// Its gloss when it was measured.
    pub surface: Surface,
    /// Reflectance as seen on the bands, where that is known and not only the colour.
    pub spectrum: Option<&'a Bands>,
}

/// Least reflectance that is left of a colour when its dull surface is taken off.
pub(crate) const LEAST_LEFT: f64 = 0.002;

impl Ground {
    /// The ground behind one colour: the most usual spectrum that has it.
    pub fn of(lab: Lab) -> Self {
        Self::of_xyz(colour::xyz(lab))
    }

    /// The same from XYZ.
    pub fn of_xyz(xyz: Xyz) -> Self {
        let usual = spectrum::usual(xyz);
        Self::through_surface(colour::lab(xyz), &usual.reflectance, usual.covariance)
    }

    /// A dry underpainting. A dull surface adds a constant to what is seen, which goes when a film wets it; the colour's
    /// own uncertainty and the surface's go into the covariance.
    pub fn measured(from: &Measured) -> Self {
        // A glossy colour is taken as it is.
        let (haze, haze_sd) = match from.surface {
            Surface::Glossy => (0.0, 0.0),
            dull => dull.haze(),
        };
        let xyz = colour::xyz(from.lab);
        let less = |v: f64, white: f64| (v - haze * white).max(LEAST_LEFT * white);
        let wetted = Xyz::new(
            less(xyz.x, colour::WHITE[0]),
            less(xyz.y, colour::WHITE[1]),
            less(xyz.z, colour::WHITE[2]),
        );
        let usual = spectrum::usual(wetted);
        let by_colour = usual.gain * xyz_by_lab(wetted);
        let own = by_colour * from.spread * by_colour.transpose()
            + BandCovariance::repeat(haze_sd * haze_sd);
        match from.spectrum {
            Some(spectrum) => {
                Self::through_surface(from.lab, &spectrum.map(|r| (r - haze).max(LEAST_LEFT)), own)
            }
            None => Self::through_surface(from.lab, &usual.reflectance, usual.covariance + own),
        }
    }

    fn through_surface(lab: Lab, reflectance: &Bands, covariance: BandCovariance) -> Self {
        let slope = reflectance.map(surface::to_internal_slope);
        Self {
            lab,
            internal: reflectance.map(surface::to_internal),
            covariance: BandCovariance::from_fn(|i, j| slope[i] * slope[j] * covariance[(i, j)]),
        }
    }
}

/// A dry colour without what its dull surface adds, which a glossy one of the same paint would look like, and its covariance: how
/// much that was is not well known. A glossy colour is taken as it is.
pub fn without_surface(lab: Lab, spread: &Matrix3<f64>, surface: Surface) -> (Lab, Matrix3<f64>) {
    let (haze, haze_sd) = match surface {
        Surface::Glossy => return (lab, *spread),
        dull => dull.haze(),
    };
    let xyz = colour::xyz(lab);
    let [x, y, z] = std::array::from_fn(|i| {
        let white = colour::WHITE[i];
        ([xyz.x, xyz.y, xyz.z][i] - haze * white).max(LEAST_LEFT * white)
    });
    let (glossy, to_lab) = colour::lab_with_slopes(Xyz::new(x, y, z));
    let to_lab = Matrix3::from_fn(|i, j| to_lab[i][j]);
    // What is known of the colour is known of X, Y and Z as they were seen.
    let seen = xyz_by_lab(xyz);
    let by_surface = to_lab * Vector3::from(colour::WHITE) * haze_sd;
    let own = to_lab * seen * spread * seen.transpose() * to_lab.transpose();
    (glossy, own + by_surface * by_surface.transpose())
}

/// Slopes of X, Y, Z along L*, a*, b*.
fn xyz_by_lab(xyz: Xyz) -> Matrix3<f64> {
    let (_, slopes) = colour::lab_with_slopes(xyz);
    Matrix3::from_fn(|i, j| slopes[i][j])
        .try_inverse()
        .unwrap_or_else(Matrix3::zeros)
}

/// Slopes of Lab along the internal reflectance of the ground, from those of XYZ by reflectance as seen.
pub(super) fn lab_by_ground(
    to_lab: &Matrix3<f64>,
    gain: impl Fn(usize) -> f64,
) -> SMatrix<f64, 3, BANDS> {
    let rows = spectrum::to_xyz_rows();
    to_lab * SMatrix::<f64, 3, BANDS>::from_fn(|axis, band| rows[axis][band] * gain(band))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(surface: Surface, sd: f64) -> Measured<'static> {
        Measured {
            lab: Lab::new(45.0, 12.0, -8.0),
            spread: Matrix3::identity() * (sd * sd),
            surface,
            spectrum: None,
        }
    }

    #[test]
    fn an_exact_glossy_colour_is_the_plain_ground() {
        let ground = Ground::measured(&of(Surface::Glossy, 0.0));
        let plain = Ground::of(Lab::new(45.0, 12.0, -8.0));
        for band in 0..BANDS {
            assert!((ground.internal[band] - plain.internal[band]).abs() < 1e-9);
        }
        assert!((ground.covariance - plain.covariance).norm() < 1e-12);
    }

    #[test]
    fn a_dull_colour_is_darker_below_its_surface() {
        let glossy = Ground::measured(&of(Surface::Glossy, 0.0));
        let satin = Ground::measured(&of(Surface::Satin, 0.0));
        let matt = Ground::measured(&of(Surface::Matt, 0.0));
        for band in 0..BANDS {
            assert!(matt.internal[band] < satin.internal[band]);
            assert!(satin.internal[band] < glossy.internal[band]);
        }
        // And not as well known as the colour that is left of it would be by itself.
        let xyz = colour::xyz(matt.lab);
        let [x, y, z] = colour::WHITE.map(|white| 0.03 * white);
        let left = Ground::of_xyz(Xyz::new(xyz.x - x, xyz.y - y, xyz.z - z));
        for band in 0..BANDS {
            assert!((matt.internal[band] - left.internal[band]).abs() < 1e-9);
        }
        assert!(matt.covariance.trace() > 1.01 * left.covariance.trace());
    }

    /// A dull surface over a dark paint lightens it a lot, and hides how dark it is; over white it hardly does.
    #[test]
    fn a_dull_surface_is_taken_off_again() {
        let spread = Matrix3::identity() * 0.25;
        for l in [8.0, 30.0, 60.0, 90.0] {
            let under = Lab::new(l, 0.0, 0.0);
            let xyz = colour::xyz(under);
            let [x, y, z] = colour::WHITE.map(|white| 0.03 * white);
            let dull = colour::lab(Xyz::new(xyz.x + x, xyz.y + y, xyz.z + z));
            let (back, known) = without_surface(dull, &spread, Surface::Matt);
            assert!(colour::difference(back, under) < 1e-6, "{back:?} {under:?}");
            assert!(known[(0, 0)] > spread[(0, 0)]);
            assert_eq!(
                without_surface(dull, &spread, Surface::Glossy),
                (dull, spread)
            );
        }
    }

    /// Seen bare, a colour uncertain by 2 in each of L*, a*, b* must come back as uncertain: its covariance, brought to the
    /// surface again, is what was put in.
    #[test]
    fn the_colours_own_uncertainty_comes_back() {
        let exact = Ground::measured(&of(Surface::Glossy, 0.0));
        let unsure = Ground::measured(&of(Surface::Glossy, 2.0));
        let (_, to_lab) = colour::lab_with_slopes(colour::xyz(unsure.lab));
        let to_lab = Matrix3::from_fn(|i, j| to_lab[i][j]);
        let back = lab_by_ground(&to_lab, |band| {
            let inner = 1.0 - surface::INNER * unsure.internal[band];
            surface::ENTRY / (inner * inner)
        });
        let spread = back * (unsure.covariance - exact.covariance) * back.transpose();
        for axis in 0..3 {
            assert!((spread[(axis, axis)] / 4.0 - 1.0).abs() < 0.05, "{spread}");
        }
    }
}
