//! Two simpler ways to learn a paint from a card, for comparison: two fluxes on 31 bands, and two fluxes on three wide bands.
//! Both get the data, the noise and the prior of the product's own fit.
#![allow(
    unreachable_pub,
    missing_docs,
    dead_code,
    reason = "shared by test programs that use different parts"
)]

use nalgebra::{DMatrix, DVector};
use twoground::{
    colour::{self, Lab, Xyz},
    film::{surface, two_flux},
    fit::{self, Card, Fitted, Optics, Prior},
    picture::Ground,
    reading,
    spectrum::{self, Bands},
};

/// 31 bands through the textbook formula instead of exact transport. Its own best roughness of S is taken, see
/// [`TWO_FLUX_ROUGHNESS`].
pub fn fit_two_flux(card: &Card, prior: Prior) -> Fitted {
    let prior = Prior {
        rough_scattering: TWO_FLUX_ROUGHNESS,
        ..prior
    };
    fit::fit(card, &prior, Optics::TwoFlux)
}

/// Of 0.03 (the product's), 0.1 and 0.3 the one that serves two fluxes best on the development sets.
pub const TWO_FLUX_ROUGHNESS: f64 = 0.03;

/// Films from the bottom up, each a fit and a build.
pub fn two_flux_over(films: &[(&Fitted, f64)], ground: &Ground) -> Lab {
    let seen: Bands = std::array::from_fn(|band| {
        let internal = films
            .iter()
            .fold(ground.internal[band], |below, (f, build)| {
                let kx = libm::exp(f.log_absorption[band]) * build;
                let sx = libm::exp(f.log_scattering[band]) * build;
                two_flux::layer(kx, sx).over(below)
            });
        surface::to_measured(internal)
    });
    colour::lab(spectrum::xyz_of(&seen))
}

/// A paint known by K and S in red, green and blue.
pub struct Wide {
    pub absorption: [f64; 3],
    pub scattering: [f64; 3],
}

/// Linear sRGB to XYZ of the connection space (IEC 61966-2-1 primaries, Bradford to D50, as sRGB profiles carry it).
const TO_XYZ: [[f64; 3]; 3] = [
    [0.436_074_7, 0.385_064_9, 0.143_080_4],
    [0.222_504_5, 0.716_878_6, 0.060_616_9],
    [0.013_932_2, 0.097_104_5, 0.714_173_3],
];

fn to_rgb(xyz: Xyz) -> [f64; 3] {
    let matrix = nalgebra::Matrix3::from_fn(|i, j| TO_XYZ[i][j]);
    let rgb = matrix.try_inverse().expect("primaries differ")
        * nalgebra::Vector3::new(xyz.x, xyz.y, xyz.z);
    [rgb[0], rgb[1], rgb[2]]
}

fn internal_rgb(xyz: Xyz) -> [f64; 3] {
    to_rgb(xyz).map(|v| surface::to_internal(v.clamp(1e-4, 0.999)))
}

/// Most probable K and S in three wide bands, each a two-flux film. Builds are solved with the product's own prior, or given.
///
/// `cells`: XYZ by film, thin to thick, and stripe (white, black).
pub fn fit_wide(white: Xyz, black: Xyz, cells: &[[Xyz; 2]], builds: Option<&[f64]>) -> Wide {
    let prior = Prior::default();
    let depths: Vec<f64> = (0..cells.len()).map(|film| film as f64).collect();
    let (nominal, reference) = fit::nominal_builds(&depths, &[]);
    let centre = builds.map_or(nominal, <[f64]>::to_vec);
    let grounds = [internal_rgb(white), internal_rgb(black)];
    let seen: Vec<[[f64; 3]; 2]> = cells.iter().map(|pair| pair.map(to_rgb)).collect();

    // Unknown: log K and log S of each band, log build of each film.
    let size = 6 + cells.len();
    let mean = DVector::from_fn(size, |i, _| match i {
        0..3 => libm::log(prior.absorption.0),
        3..6 => libm::log(prior.scattering.0),
        _ => libm::log(centre[i - 6]),
    });
    let sd = DVector::from_fn(size, |i, _| match i {
        0..3 => prior.absorption.1,
        3..6 => prior.scattering.1,
        _ if builds.is_some() || i - 6 == reference => 1e-6,
        _ => prior.build,
    });
    // Everything that ought to be zero, in standard deviations.
    let misses = |theta: &DVector<f64>| -> DVector<f64> {
        let mut all = Vec::with_capacity(6 * cells.len() + size);
        for (film, pair) in seen.iter().enumerate() {
            let build = libm::exp(theta[6 + film]);
            for (ground, rgb) in grounds.iter().zip(pair) {
                for c in 0..3 {
                    let (kx, sx) = (libm::exp(theta[c]) * build, libm::exp(theta[3 + c]) * build);
                    let given = surface::to_measured(two_flux::layer(kx, sx).over(ground[c]));
                    all.push((given - rgb[c]) / reading::cell_sd(0.0, rgb[c]));
                }
            }
        }
        all.extend((theta - &mean).component_div(&sd).iter());
        DVector::from_vec(all)
    };
    let end = [(0.1, 0.05), (1.0, 0.5), (5.0, 5.0), (0.5, 0.3)]
        .map(|(k, s)| {
            let start = DVector::from_fn(size, |i, _| match i {
                0..3 => libm::log(k),
                3..6 => libm::log(s),
                _ => mean[i],
            });
            least_squares(misses, start)
        })
        .into_iter()
        .min_by(|a, b| {
            misses(a)
                .norm_squared()
                .total_cmp(&misses(b).norm_squared())
        })
        .expect("there are starts");
    Wide {
        absorption: std::array::from_fn(|c| libm::exp(end[c])),
        scattering: std::array::from_fn(|c| libm::exp(end[3 + c])),
    }
}

/// Levenberg-Marquardt (Marquardt 1963) with differences for slopes.
fn least_squares(
    misses: impl Fn(&DVector<f64>) -> DVector<f64>,
    start: DVector<f64>,
) -> DVector<f64> {
    const H: f64 = 1e-5;
    let (mut theta, mut damping) = (start, 1e-3);
    for _ in 0..200 {
        let here = misses(&theta);
        let mut jacobian = DMatrix::zeros(here.len(), theta.len());
        for j in 0..theta.len() {
            let mut beside = theta.clone();
            beside[j] += H;
            jacobian.set_column(j, &((misses(&beside) - &here) / H));
        }
        let normal = jacobian.transpose() * &jacobian;
        let gradient = jacobian.transpose() * &here;
        let mut better = None;
        while damping < 1e9 {
            let damped = &normal + DMatrix::from_diagonal(&(normal.diagonal() * damping));
            let step = damped
                .cholesky()
                .map(|factor| factor.solve(&gradient).map(|v| v.clamp(-1.5, 1.5)));
            if let Some(next) = step
                .map(|step| &theta - step)
                .filter(|next| misses(next).norm_squared() < here.norm_squared())
            {
                better = Some(next);
                damping = (damping / 5.0).max(1e-12);
                break;
            }
            damping *= 4.0;
        }
        let Some(next) = better else { break };
        let drop = here.norm_squared() - misses(&next).norm_squared();
        theta = next;
        if drop < 1e-9 * here.norm_squared() {
            break;
        }
    }
    theta
}

/// Films from the bottom up, each a paint and a build.
pub fn wide_over(films: &[(&Wide, f64)], ground: Xyz) -> Lab {
    let ground = internal_rgb(ground);
    let rgb: [f64; 3] = std::array::from_fn(|c| {
        surface::to_measured(films.iter().fold(ground[c], |below, (paint, build)| {
            two_flux::layer(paint.absorption[c] * build, paint.scattering[c] * build).over(below)
        }))
    });
    let axis = |i: usize| (0..3).map(|c| TO_XYZ[i][c] * rgb[c]).sum::<f64>().max(1e-6);
    colour::lab(Xyz::new(axis(0), axis(1), axis(2)))
}
