//! The light that a picture was taken in: exposure and white from places of known colour, and light that falls off across
//! the picture levelled from several of them. And what remains unknown.

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use super::painting::{Painting, code_of, linear_of};
use crate::{
    Error, Result,
    colour::{self, Lab},
    picture::pick::{NO_PROFILE_SD, PHOTO_SD, SCAN_SD},
};

/// A place whose colour is known: a grey or white card in the picture, or a colour measured before.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// Where, as shares of the picture's width and height.
    pub at: [f64; 2],
    /// L*, a*, b* that it has, D50.
    pub lab: [f64; 3],
    /// Decoded channels averaged there.
    pub linear: [f64; 3],
}

/// What the picture's channels are multiplied by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Light {
    /// For the whole picture, by channel.
    pub gain: [f64; 3],
    /// How the logarithm of the gain grows across and down, by channel; 0 at the middle of the known places.
    slope: [[f64; 2]; 3],
    /// Middle of the known places.
    middle: [f64; 2],
    /// How far the known places contradict each other: the largest difference of their gains from what was fitted, as a ratio.
    pub unlike: f64,
    /// Logarithm of what is levelled from one corner to another, where the places may as well tell of contrasts that a camera changed:
    /// they are too few to contradict each other, and not all as light.
    pub unchecked: f64,
}

impl Default for Light {
    fn default() -> Self {
        Self {
            gain: [1.0; 3],
            slope: [[0.0; 2]; 3],
            middle: [0.5; 2],
            unlike: 1.0,
            unchecked: 0.0,
        }
    }
}

/// Channels that tell a colour: below is lost in the dark, above may be cut.
const TELLS: std::ops::RangeInclusive<f64> = 0.002..=0.985;
/// Gains that a picture may need.
const GAINS: std::ops::RangeInclusive<f64> = 0.1..=10.0;
/// From so many known places on, a plane through their gains can be contradicted.
const TELL_TONE: usize = 4;
/// Difference of L* up to which two places are as light as each other: contrasts between them are none (ours).
const AS_LIGHT: f64 = 10.0;
/// Known places nearer than this, as a share of the picture, say nothing of how light falls off.
const NEAR: f64 = 0.1;

impl Light {
    /// From places of known colour in a picture with this matrix; as the file says without any.
    ///
    /// # Errors
    /// [`Error::Refused`] where a place is cut or too dark to tell, or would need an absurd gain.
    pub fn of(known: &[Known], to_xyz: &[[f64; 3]; 3]) -> Result<Self> {
        if known.is_empty() {
            return Ok(Self::default());
        }
        let inverse = Matrix3::from_fn(|i, j| to_xyz[i][j])
            .try_inverse()
            .unwrap_or_else(Matrix3::identity);
        let mut logs = Vec::with_capacity(known.len());
        for place in known {
            let [l, a, b] = place.lab;
            let xyz = colour::xyz(Lab::new(l, a, b));
            let wanted = inverse * Vector3::new(xyz.x, xyz.y, xyz.z);
            let mut log = [0.0; 3];
            for channel in 0..3 {
                let gain = wanted[channel] / place.linear[channel];
                if !TELLS.contains(&place.linear[channel]) || !GAINS.contains(&gain) {
                    return Err(Error::Refused(
                        "This place cannot be that colour: it is cut, too dark, or far from it. Pick another, or correct the colour."
                            .into(),
                    ));
                }
                log[channel] = libm::log(gain);
            }
            logs.push(log);
        }
        let count = known.len() as f64;
        let middle: [f64; 2] =
            std::array::from_fn(|i| known.iter().map(|k| k.at[i]).sum::<f64>() / count);
        let mean: [f64; 3] =
            std::array::from_fn(|c| logs.iter().map(|l| l[c]).sum::<f64>() / count);
        // The smallest slope that fits best: along the line of two places, a plane from three on.
        let mut square = nalgebra::Matrix2::zeros();
        let mut right = [nalgebra::Vector2::zeros(); 3];
        for (place, log) in known.iter().zip(&logs) {
            let off = nalgebra::Vector2::new(place.at[0] - middle[0], place.at[1] - middle[1]);
            square += off * off.transpose();
            for channel in 0..3 {
                right[channel] += off * (log[channel] - mean[channel]);
            }
        }
        let spread = square.trace().sqrt();
        let slope = if spread < NEAR {
            [[0.0; 2]; 3]
        } else {
            let held = square + nalgebra::Matrix2::identity() * (1e-4 * square.trace());
            let inverse = held.try_inverse().unwrap_or_else(nalgebra::Matrix2::zeros);
            right.map(|r| (inverse * r).into())
        };
        let mut light = Self {
            gain: mean.map(libm::exp),
            slope,
            middle,
            unlike: 1.0,
            unchecked: 0.0,
        };
        let lightness = |of: fn(f64, f64) -> f64| known.iter().map(|k| k.lab[0]).reduce(of);
        let unlike = lightness(f64::max).zip(lightness(f64::min));
        if known.len() < TELL_TONE && unlike.is_some_and(|(most, least)| most - least > AS_LIGHT) {
            light.unchecked = libm::log(light.falls_off());
        }
        for (place, log) in known.iter().zip(&logs) {
            for channel in 0..3 {
                let fitted = mean[channel] + light.log_field(channel, place.at);
                light.unlike = light.unlike.max(libm::exp((log[channel] - fitted).abs()));
            }
        }
        Ok(light)
    }

    fn log_field(&self, channel: usize, at: [f64; 2]) -> f64 {
        self.slope[channel][0] * (at[0] - self.middle[0])
            + self.slope[channel][1] * (at[1] - self.middle[1])
    }

    /// Whether light falls off across the picture and is levelled.
    pub fn is_levelled(&self) -> bool {
        self.slope.iter().flatten().any(|s| *s != 0.0)
    }

    /// Most that levelling multiplies by from one corner to another.
    pub fn falls_off(&self) -> f64 {
        let reach: f64 = (0..3)
            .map(|c| self.slope[c][0].abs() + self.slope[c][1].abs())
            .fold(0.0, f64::max);
        libm::exp(reach)
    }

    /// The picture's matrix with exposure and white in it.
    pub fn matrix(&self, to_xyz: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
        to_xyz.map(|row| std::array::from_fn(|i| row[i] * self.gain[i]))
    }

    /// Codes with the falling off of light taken out; `at` are shares of the picture's width and height.
    pub fn level(&self, code: [u16; 3], at: [f64; 2]) -> [u16; 3] {
        std::array::from_fn(|c| code_of(linear_of(code[c]) * libm::exp(self.log_field(c, at))))
    }

    /// Takes the falling off of light out of a row of codes, in place.
    pub fn level_row(&self, codes: &mut [u16], [from, to]: [f64; 2], y: f64) {
        let pixels = codes.as_chunks_mut::<3>().0;
        let count = pixels.len() as f64;
        for (i, pixel) in pixels.iter_mut().enumerate() {
            let x = from + (to - from) * (i as f64 + 0.5) / count;
            *pixel = self.level(*pixel, [x, y]);
        }
    }
}

/// How the picture was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Taken {
    /// By a camera.
    #[default]
    Photo,
    /// By a scanner.
    Scan,
}

/// Usual errors of L*, a*, b*, standard deviations, both ours: of a scan and of a photo with a place of known colour. Without one they are
/// those of a picked spot.
const SCAN_SET_SD: [f64; 3] = [0.8, 1.0, 1.3];
const PHOTO_SET_SD: [f64; 3] = [2.5, 2.5, 3.0];

/// How well the colours of a picture are known: standard deviations of L*, a*, b*.
pub fn lab_sd(taken: Taken, light: &Light, known: usize, profile_assumed: bool) -> [f64; 3] {
    let device = match (taken, known > 0) {
        (Taken::Scan, false) => SCAN_SD,
        (Taken::Scan, true) => SCAN_SET_SD,
        (Taken::Photo, false) => PHOTO_SD,
        (Taken::Photo, true) => PHOTO_SET_SD,
    };
    let profile = if profile_assumed { NO_PROFILE_SD } else { 0.0 };
    // Places that contradict each other: a third of L* to the ratio of light, half of it as a standard deviation.
    let unlike = 0.5 * 116.0 / 3.0 * libm::log(light.unlike);
    // Half of what is levelled from the middle to a corner, likewise.
    let unchecked = if taken == Taken::Photo {
        0.25 * 116.0 / 3.0 * light.unchecked
    } else {
        0.0
    };
    let more = profile * profile + unlike * unlike + unchecked * unchecked;
    device.map(|sd| (sd * sd + more).sqrt())
}

/// A place averaged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Averaged {
    /// Decoded channels, 0 to 1.
    pub linear: [f64; 3],
    /// Pixels that were averaged.
    pub pixels: usize,
    /// Share left out as glare: much lighter than the rest of the place, or cut.
    pub glare: f64,
    /// Share that is cut at its light or dark end in any channel.
    pub cut: f64,
}

/// How much lighter than the middle of a place counts as glare (ours).
const GLARE: f64 = 1.6;
/// Codes that count as cut.
const CUT_LOW: u16 = 60;
const CUT_HIGH: u16 = 65_470;

/// The mean of the pixels within `radius` of a place, glare left out; nothing beside the picture.
pub fn average(painting: &Painting, [x, y]: [f64; 2], radius: f64) -> Option<Averaged> {
    let span = |at: f64, size: usize| {
        let low = (at - radius).floor().max(0.0);
        let high = (at + radius).floor().min(size as f64 - 1.0);
        (low <= high && (0.0..size as f64).contains(&at)).then_some((low as usize, high as usize))
    };
    let ((left, right), (top, bottom)) = (span(x, painting.width)?, span(y, painting.height)?);
    let mut values: Vec<([f64; 3], bool, bool)> = Vec::new();
    for row in top..=bottom {
        for column in left..=right {
            let (dx, dy) = (column as f64 + 0.5 - x, row as f64 + 0.5 - y);
            // The pixel under the place always counts.
            if dx * dx + dy * dy > radius * radius && (column, row) != (x as usize, y as usize) {
                continue;
            }
            let code = painting.code(column, row);
            values.push((
                code.map(linear_of),
                code.iter().all(|c| *c >= CUT_HIGH),
                code.iter().any(|c| !(CUT_LOW..CUT_HIGH).contains(c)),
            ));
        }
    }
    let light = |v: &[f64; 3]| v[0] + v[1] + v[2];
    let mut lights: Vec<f64> = values.iter().map(|(v, ..)| light(v)).collect();
    lights.sort_unstable_by(f64::total_cmp);
    let middle = lights[lights.len() / 2];
    let total = values.len() as f64;
    let no_glare =
        |(v, burnt, _): &([f64; 3], bool, bool)| !burnt && light(v) <= GLARE * middle.max(0.02);
    // All of it glare: then that is the colour, and it is said to be cut.
    let mut used = values.clone();
    used.retain(no_glare);
    if used.is_empty() {
        used = values;
    }
    let count = used.len() as f64;
    let glare = 1.0 - count / total;
    // What is left out spoils nothing.
    let cut = used.iter().filter(|(.., cut)| *cut).count() as f64 / count;
    Some(Averaged {
        linear: std::array::from_fn(|c| used.iter().map(|(v, ..)| v[c]).sum::<f64>() / count),
        pixels: used.len(),
        glare,
        cut,
    })
}

/// What is odd about a whole picture.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Signs {
    /// Share of pixels that are white to the end and lie in small spots: glare of a light.
    pub glare: f64,
    /// Share of pixels cut at the light end.
    pub cut_light: f64,
    /// Share of pixels cut at the dark end.
    pub cut_dark: f64,
}

/// Largest share of a picture that a spot of glare may have (ours); beyond it is a light field that is cut.
const SPOT: f64 = 0.004;

/// Looks a reduced copy over.
pub fn signs(painting: &Painting) -> Signs {
    let pixels = painting.codes.as_chunks::<3>().0;
    let total = pixels.len().max(1) as f64;
    let burnt: Vec<bool> = pixels
        .iter()
        .map(|p| p.iter().all(|c| *c >= CUT_HIGH - 600))
        .collect();
    let mut seen = vec![false; burnt.len()];
    let mut glare = 0;
    for start in 0..burnt.len() {
        if !burnt[start] || seen[start] {
            continue;
        }
        let (mut open, mut size) = (vec![start], 0);
        seen[start] = true;
        while let Some(at) = open.pop() {
            size += 1;
            let (x, y) = (at % painting.width, at / painting.width);
            let mut go = |next: usize| {
                if burnt[next] && !seen[next] {
                    seen[next] = true;
                    open.push(next);
                }
            };
            if x > 0 {
                go(at - 1);
            }
            if x + 1 < painting.width {
                go(at + 1);
            }
            if y > 0 {
                go(at - painting.width);
            }
            if y + 1 < painting.height {
                go(at + painting.width);
            }
        }
        if size as f64 <= SPOT * total {
            glare += size;
        }
    }
    let share =
        |test: &dyn Fn(&[u16; 3]) -> bool| pixels.iter().filter(|p| test(p)).count() as f64 / total;
    Signs {
        glare: glare as f64 / total,
        cut_light: share(&|p| p.iter().any(|c| *c >= CUT_HIGH)),
        cut_dark: share(&|p| p.iter().all(|c| *c < CUT_LOW)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::Profile;

    fn even(width: usize, height: usize, code: impl Fn(usize, usize) -> [u16; 3]) -> Painting {
        Painting {
            width,
            height,
            codes: (0..width * height)
                .flat_map(|i| code(i % width, i / width))
                .collect(),
            to_xyz: Profile::srgb().to_xyz(),
            in_xyz: false,
        }
    }

    /// A colour photographed through a warm light at half its exposure comes back as it is.
    #[test]
    fn a_grey_card_sets_exposure_and_white() {
        let to_xyz = Profile::srgb().to_xyz();
        let seen = |lab: [f64; 3]| {
            let xyz = colour::xyz(Lab::new(lab[0], lab[1], lab[2]));
            let inverse = Matrix3::from_fn(|i, j| to_xyz[i][j]).try_inverse().unwrap();
            let linear = inverse * Vector3::new(xyz.x, xyz.y, xyz.z);
            [0.55 * linear[0], 0.5 * linear[1], 0.4 * linear[2]]
        };
        let known = Known {
            at: [0.5, 0.5],
            lab: [50.0, 0.0, 0.0],
            linear: seen([50.0, 0.0, 0.0]),
        };
        let light = Light::of(&[known], &to_xyz).unwrap();
        let matrix = light.matrix(&to_xyz);
        let code = seen([62.0, 20.0, 15.0]).map(code_of);
        let back = colour::lab(Painting::xyz(&matrix, code));
        assert!(
            colour::difference(back, Lab::new(62.0, 20.0, 15.0)) < 0.05,
            "{back:?}"
        );
        assert!((light.unlike - 1.0).abs() < 1e-9 && !light.is_levelled());
    }

    /// Light that falls off to two thirds from left to right is levelled from two white cards; a third that contradicts them
    /// is noticed and widens the range.
    #[test]
    fn light_that_falls_off_is_levelled() {
        let to_xyz = Profile::srgb().to_xyz();
        let fall = |x: f64| libm::exp(-0.4 * x);
        let white = 0.6;
        let place = |x: f64, y: f64, more: f64| Known {
            at: [x, y],
            lab: [81.84, 0.0, 0.0],
            linear: [white * fall(x) * more; 3],
        };
        let two = [place(0.1, 0.5, 1.0), place(0.9, 0.5, 1.0)];
        let light = Light::of(&two, &to_xyz).unwrap();
        assert!(light.is_levelled() && light.unlike < 1.001);
        let levelled = |x: f64| {
            let code = code_of(white * fall(x));
            linear_of(light.level([code; 3], [x, 0.2])[1])
        };
        assert!((levelled(0.0) / levelled(1.0) - 1.0).abs() < 0.002);
        let three = [two[0], two[1], place(0.5, 0.5, 1.3)];
        let contradicted = Light::of(&three, &to_xyz).unwrap();
        assert!(contradicted.unlike > 1.1);
        let sd = |light: &Light| lab_sd(Taken::Photo, light, 2, false)[0];
        assert!(sd(&contradicted) > sd(&light));
        assert!(lab_sd(Taken::Photo, &light, 0, false)[0] > sd(&light));
    }

    /// A camera lifts shadows: a grey and a white card beside each other then look like light that falls off steeply. As long as
    /// nothing can contradict that, ranges are wide.
    #[test]
    fn contrasts_that_a_camera_changed_widen_ranges() {
        let to_xyz = Profile::srgb().to_xyz();
        let card = |x: f64, l: f64, linear: f64| Known {
            at: [x, 0.8],
            lab: [l, 0.0, 0.0],
            linear: [linear; 3],
        };
        let known = [
            card(0.6, 50.0, 0.31),
            card(0.9, 96.0, 0.88),
            card(0.1, 50.0, 0.31),
            card(0.4, 96.0, 0.88),
        ];
        let sd = |known: &[Known], taken| {
            let light = Light::of(known, &to_xyz).unwrap();
            lab_sd(taken, &light, known.len(), false)[0]
        };
        let one = sd(&known[..1], Taken::Photo);
        assert!(sd(&known[..2], Taken::Photo) > 2.0 * one);
        assert!(sd(&known[..3], Taken::Photo) > 2.0 * one);
        assert!(sd(&known, Taken::Photo) > 2.0 * one);
        // No scanner does that, and the same card in two places cannot be mistaken so.
        assert!(sd(&known[..2], Taken::Scan) < one);
        let alike = [card(0.1, 50.0, 0.17), card(0.9, 50.0, 0.12)];
        assert!((sd(&alike, Taken::Photo) - one).abs() < 1e-6);
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let to_xyz = Profile::srgb().to_xyz();
        for linear in [[0.0; 3], [1.0; 3], [0.003, 0.5, 0.5]] {
            let known = Known {
                at: [0.5; 2],
                lab: [90.0, 0.0, 0.0],
                linear,
            };
            assert!(Light::of(&[known], &to_xyz).is_err(), "{linear:?}");
        }
    }

    #[test]
    fn glare_is_left_out_of_an_average_and_counted() {
        let painting = even(40, 40, |x, y| {
            if (x, y) == (20, 20) || (x, y) == (21, 20) {
                [65535; 3]
            } else {
                [20_000, 18_000, 16_000]
            }
        });
        let spot = average(&painting, [20.0, 20.0], 4.0).unwrap();
        for (seen, code) in spot.linear.iter().zip([20_000, 18_000, 16_000]) {
            assert!((seen - linear_of(code)).abs() < 1e-9);
        }
        assert!(spot.glare > 0.02 && spot.glare < 0.06);
        // What is left out cuts nothing; where nothing else is there, it is the colour, and cut.
        let small = average(&painting, [20.5, 20.5], 1.0).unwrap();
        assert!(small.glare > 0.1 && small.cut == 0.0 && spot.cut == 0.0);
        let all = average(&painting, [20.5, 20.5], 0.1).unwrap();
        assert_eq!((all.glare, all.cut), (0.0, 1.0));
        let signs = signs(&painting);
        assert!((signs.glare - 2.0 / 1600.0).abs() < 1e-12);
        assert_eq!(average(&painting, [-3.0, 5.0], 2.0), None);
    }
}
