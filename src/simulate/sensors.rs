//! How the sensors of scanners and cameras differ from the eye: hundreds of invented ones of every group, each with the matrix that a
//! driver would get from a target, told as a mean and a covariance. `cargo run --release --example make_sensors` stores them for
//! [`crate::fit::sensors`].
//!
//! The ranges are ours, drawn around what the parts are known to be like (from memory): line widths and places of fluorescent lamps,
//! peaks of blue diodes and phosphors, edges of dyed filters, infrared cuts. No curve is that of a product.

use nalgebra::{DMatrix, Matrix2, SymmetricEigen, Vector2};

use super::random::Random;
use crate::{
    colour::WHITE,
    fit::sensors::{Group, PARTS, UNIT},
    spectrum::{BANDS, Bands, to_xyz_rows, wavelengths},
};

/// Sensors drawn of every group.
const DRAWN: usize = 800;

/// Differences of one sensor: what it and its driver make of light of one band, less its XYZ.
type Difference = [Bands; 3];

/// What [`crate::fit::sensors`] keeps: for every group the mean difference, then [`PARTS`] independent parts of its spread.
pub fn make() -> Vec<u8> {
    let whole = |value: f64| ((value / UNIT).round() as i16).to_le_bytes();
    Group::STORED
        .iter()
        .flat_map(|&group| {
            let (mean, spread) = mean_and_covariance(group);
            let eigen = SymmetricEigen::new(spread);
            let mut order: Vec<usize> = (0..mean.len()).collect();
            order.sort_by(|&i, &j| eigen.eigenvalues[j].total_cmp(&eigen.eigenvalues[i]));
            let parts = order.into_iter().take(PARTS).flat_map(|i| {
                let size = eigen.eigenvalues[i].max(0.0).sqrt();
                eigen
                    .eigenvectors
                    .column(i)
                    .iter()
                    .map(|v| v * size)
                    .collect::<Vec<_>>()
            });
            mean.into_iter()
                .chain(parts)
                .flat_map(whole)
                .collect::<Vec<_>>()
        })
        .collect()
}

/// Mean and covariance of the differences of a group, X first and 400 nm first.
pub fn mean_and_covariance(group: Group) -> (Vec<f64>, DMatrix<f64>) {
    let mut random = Random::of(1, &format!("{group:?}"));
    let all: Vec<Difference> = (0..DRAWN)
        .map(|_| difference(&draw(group, &mut random), &mut random))
        .collect();
    let all = DMatrix::from_fn(3 * BANDS, DRAWN, |row, n| all[n].as_flattened()[row]);
    let mean = all.column_mean();
    let apart = DMatrix::from_fn(3 * BANDS, DRAWN, |row, n| all[(row, n)] - mean[row]);
    let covariance = &apart * apart.transpose() / DRAWN as f64;
    (mean.iter().copied().collect(), covariance)
}

fn of(curve: impl Fn(f64) -> f64) -> Bands {
    wavelengths().map(curve)
}

fn hump(nm: f64, centre: f64, width: f64) -> f64 {
    let x = (nm - centre) / width;
    libm::exp(-0.5 * x * x)
}

fn above(nm: f64, edge: f64, width: f64) -> f64 {
    1.0 / (1.0 + libm::exp(-(nm - edge) / width))
}

/// Red, green and blue of one sensor of the group, in any unit.
fn draw(group: Group, random: &mut Random) -> [Bands; 3] {
    let lit = |filters: [Bands; 3], light: Bands| {
        filters.map(|filter| std::array::from_fn(|b| filter[b] * light[b]))
    };
    match group {
        Group::Three => {
            let mut diode = |centre: (f64, f64), width: (f64, f64)| {
                let (centre, width) = (
                    random.between(centre.0, centre.1),
                    random.between(width.0, width.1),
                );
                of(|nm| hump(nm, centre, width))
            };
            [
                diode((615.0, 642.0), (7.0, 11.0)),
                diode((513.0, 536.0), (12.0, 19.0)),
                diode((452.0, 472.0), (8.0, 13.0)),
            ]
        }
        Group::Camera => {
            let filters = [
                ((585.0, 612.0), (26.0, 42.0), 0.06, 0.06),
                ((522.0, 545.0), (32.0, 46.0), 0.0, 0.05),
                ((450.0, 475.0), (22.0, 34.0), 0.0, 0.05),
            ]
            .map(|(centre, width, blue, floor)| {
                let (centre, width) = (
                    random.between(centre.0, centre.1),
                    random.between(width.0, width.1),
                );
                let (blue, floor) = (random.between(0.0, 2.0 * blue), random.between(0.0, floor));
                of(|nm| hump(nm, centre, width) + blue * hump(nm, 450.0, 25.0) + floor)
            });
            lit(filters, even_light(random))
        }
        // The last two are made of the first.
        Group::White | Group::Good | Group::Any => {
            let light = match random.below(10) {
                0 => even_light(random),
                1..=4 => lamp(random),
                _ => white_diode(random),
            };
            lit(filters(random), light)
        }
    }
}

/// A three-band fluorescent lamp.
fn lamp(random: &mut Random) -> Bands {
    const LINES: [(f64, f64, f64); 7] = [
        (405.0, 0.0, 0.3),
        (436.0, 0.4, 1.2),
        (490.0, 0.2, 0.8),
        (545.0, 1.0, 2.0),
        (585.0, 0.3, 1.0),
        (611.0, 0.8, 1.8),
        (625.0, 0.0, 0.4),
    ];
    // As wide as lines look in bands of 10 nm, and wider for phosphors.
    let width = random.between(5.0, 14.0);
    let (floor, glow) = (random.between(0.0, 0.6), random.between(0.0, 0.4));
    let lines = LINES
        .map(|(nm, least, most)| (nm + random.between(-3.0, 3.0), random.between(least, most)));
    of(|nm| {
        let lines: f64 = lines
            .iter()
            .map(|&(centre, power)| power * hump(nm, centre, width))
            .sum();
        floor + glow * hump(nm, 580.0, 80.0) + lines
    })
}

/// A blue diode under yellow phosphor, some with red.
fn white_diode(random: &mut Random) -> Bands {
    let mut part = |power: (f64, f64), centre: (f64, f64), width: (f64, f64)| {
        (
            random.between(power.0, power.1),
            random.between(centre.0, centre.1),
            random.between(width.0, width.1),
        )
    };
    let parts = [
        part((0.6, 2.0), (440.0, 465.0), (9.0, 14.0)),
        part((0.6, 1.0), (540.0, 580.0), (45.0, 62.0)),
        part((0.0, 0.7), (610.0, 640.0), (25.0, 50.0)),
    ];
    of(|nm| {
        0.02 + parts
            .iter()
            .map(|&(power, centre, width)| power * hump(nm, centre, width))
            .sum::<f64>()
    })
}

/// Daylight, incandescent light, xenon: a slope and a bend.
fn even_light(random: &mut Random) -> Bands {
    let (slope, bend) = (random.between(-0.5, 0.5), random.between(-0.3, 0.3));
    of(|nm| {
        let x = (nm - 550.0) / 150.0;
        (1.0 + slope * x + bend * x * x).max(0.05)
    })
}

/// Dyed filters on the sensor; the red one passes all that is longer, up to the infrared cut, and may leak blue.
fn filters(random: &mut Random) -> [Bands; 3] {
    let (edge, steep) = (random.between(572.0, 600.0), random.between(5.0, 11.0));
    let cut = random
        .chance(0.6)
        .then(|| (random.between(655.0, 720.0), random.between(8.0, 20.0)));
    let (leak, leaks_at) = (random.between(0.0, 0.12), random.between(420.0, 450.0));
    let red = of(|nm| {
        let passed = cut.map_or(1.0, |(cut, width)| 1.0 - above(nm, cut, width));
        above(nm, edge, steep) * passed + leak * hump(nm, leaks_at, 25.0)
    });
    let (centre, width) = (random.between(525.0, 548.0), random.between(26.0, 42.0));
    let (leak, floor) = (random.between(0.0, 0.06), random.between(0.0, 0.05));
    let green = of(|nm| hump(nm, centre, width) + leak * above(nm, 610.0, 10.0) + floor);
    let (centre, width) = (random.between(445.0, 470.0), random.between(22.0, 36.0));
    let floor = random.between(0.0, 0.04);
    let blue = of(|nm| hump(nm, centre, width) + floor);
    [red, green, blue]
}

/// What the sensor and its driver make of each band, less what the eye does: the driver has the matrix that is best for a target, and
/// white is white.
fn difference(sensor: &[Bands; 3], random: &mut Random) -> Difference {
    let sensor = sensor.map(|channel| {
        let sum: f64 = channel.iter().sum();
        channel.map(|v| v / sum)
    });
    let rows = to_xyz_rows();
    let dot = |a: &Bands, b: &Bands| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let chips = target(random);
    // Between errors of light and errors of its share, whichever the driver's maker cared for.
    let shared = random.unit();
    // A row of the matrix sums to its white, since white is 1, 1, 1: two of its numbers are free, and tell by how much the second
    // and the third channel count instead of the first.
    let mut normal = Matrix2::<f64>::zeros();
    let mut wanted = [Vector2::<f64>::zeros(); 3];
    for chip in &chips {
        let weight = libm::pow(0.05 + dot(&rows[1], chip), -2.0 * shared);
        let [first, second, third] = sensor.map(|channel| dot(&channel, chip));
        let free = Vector2::new(second - first, third - first);
        normal += weight * free * free.transpose();
        for axis in 0..3 {
            let left = dot(&rows[axis], chip) - WHITE[axis] * first;
            wanted[axis] += weight * left * free;
        }
    }
    let inverse = normal
        .try_inverse()
        .expect("the channels see a target differently");
    std::array::from_fn(|axis| {
        let free = inverse * wanted[axis];
        let matrix = [WHITE[axis] - free.x - free.y, free.x, free.y];
        std::array::from_fn(|band| {
            let seen: f64 = (0..3).map(|c| matrix[c] * sensor[c][band]).sum();
            seen - rows[axis][band]
        })
    })
}

/// Reflectances of a target: dyes on paper, as most are; or chips with edges and humps; or whatever is smooth.
fn target(random: &mut Random) -> Vec<Bands> {
    let mut chips: Vec<Bands> = match random.below(3) {
        0 => {
            let dyes = [
                (448.0, 6.0, 32.0, 48.0),
                (545.0, 6.0, 30.0, 42.0),
                (645.0, 8.0, 38.0, 55.0),
            ]
            .map(|(centre, off, least, most)| {
                let centre = centre + random.between(-1.7 * off, 1.7 * off);
                (
                    centre,
                    random.between(least, most),
                    random.between(0.02, 0.12),
                )
            });
            (0..120)
                .map(|_| {
                    let amounts = dyes.map(|_| {
                        if random.chance(1.0 / 3.0) {
                            0.0
                        } else {
                            random.between(0.0, 1.8)
                        }
                    });
                    of(|nm| {
                        let density: f64 = dyes
                            .iter()
                            .zip(amounts)
                            .map(|(&(centre, width, floor), amount)| {
                                amount * (hump(nm, centre, width) + floor)
                            })
                            .sum();
                        0.88 * libm::exp(-density) + 0.003
                    })
                })
                .collect()
        }
        1 => (0..60)
            .flat_map(|_| {
                let (edge, steep) = (random.between(440.0, 660.0), random.between(10.0, 40.0));
                let (from, to) = (random.between(0.03, 0.8), random.between(0.03, 0.8));
                let (centre, width) = (random.between(420.0, 660.0), random.between(25.0, 60.0));
                let (floor, height) = (random.between(0.05, 0.6), random.between(-0.5, 0.6));
                [
                    of(|nm| from + (to - from) * above(nm, edge, steep)),
                    of(|nm| (floor + height * hump(nm, centre, width)).clamp(0.02, 0.95)),
                ]
            })
            .collect(),
        _ => (0..100)
            .map(|_| {
                // Five waves, the shorter the smaller, on a logit.
                let level = random.between(-2.0, 2.0);
                let waves: [(f64, f64); 5] = std::array::from_fn(|_| {
                    (
                        random.between(-1.0, 1.0),
                        random.between(0.0, std::f64::consts::TAU),
                    )
                });
                of(|nm| {
                    let x = (nm - 400.0) / 300.0;
                    let sum: f64 = waves
                        .iter()
                        .enumerate()
                        .map(|(n, &(size, phase))| {
                            let turns = 0.5 * (n + 1) as f64;
                            2.0 * size / (n + 1) as f64
                                * libm::sin(std::f64::consts::TAU * turns * x + phase)
                        })
                        .sum();
                    1.0 / (1.0 + libm::exp(-(level + sum)))
                })
            })
            .collect(),
    };
    chips.extend((0..12).map(|n| [0.03 + 0.87 * n as f64 / 11.0; BANDS]));
    chips
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::sensors::Sensors;

    /// The stored mean and covariance are those that are drawn, as far as whole units and the parts left out allow.
    #[test]
    fn what_is_stored_is_what_is_drawn() {
        for group in Group::STORED {
            let (mean, covariance) = mean_and_covariance(group);
            let (stored_mean, stored) = Sensors::stored(group);
            for (drawn, stored) in mean.iter().zip(stored_mean.as_flattened()) {
                assert!((drawn - stored).abs() < 2.0 * UNIT, "{group:?}");
            }
            let kept: f64 = stored
                .iter()
                .flat_map(|part| part.as_flattened())
                .map(|v| v * v)
                .sum();
            let share = kept / covariance.trace();
            assert!((0.95..1.0001).contains(&share), "{group:?} {share}");
        }
    }

    /// A sensor that is the eye's differs by nothing, whatever its channels are mixed of.
    #[test]
    fn the_eye_differs_by_nothing() {
        let rows = to_xyz_rows();
        let mixed: [Bands; 3] = std::array::from_fn(|c| {
            std::array::from_fn(|b| {
                rows[c][b] + 0.3 * rows[(c + 1) % 3][b] + 0.1 * rows[(c + 2) % 3][b]
            })
        });
        let off = difference(&mixed, &mut Random::new(5));
        assert!(off.as_flattened().iter().all(|v| v.abs() < 1e-9), "{off:?}");
    }

    /// A perfect diffuser is one for every sensor.
    #[test]
    fn white_stays_white() {
        let mut random = Random::new(6);
        for group in Group::STORED {
            let sensor = draw(group, &mut random);
            for row in difference(&sensor, &mut random) {
                assert!(row.iter().sum::<f64>().abs() < 1e-9);
            }
        }
    }
}
