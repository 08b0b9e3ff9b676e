//! CIEDE2000 (CIE 142-2001), as Sharma, Wu and Dalal 2005 write it down, weights 1.
//!
//! Ours and not palette's: behind a range stand hundreds of differences from one colour, and palette's takes ten angles and sines
//! for each, in the browser square roots by hand too. Hues stand here as directions, from which half, double and threefold angles
//! come by multiplying; one angle is left, for the turn of the ellipses in the blues, where that turn is not nothing.

use super::Lab;

/// A colour that others are compared with.
#[derive(Debug, Clone, Copy)]
pub struct DifferenceFrom {
    colour: Lab,
    chroma: f64,
}

/// cos and sin of 30, 6 and 63 degrees.
const AT_30: [f64; 2] = [0.866_025_403_784_438_6, 0.5];
const AT_6: [f64; 2] = [0.994_521_895_368_273_3, 0.104_528_463_267_653_47];
const AT_63: [f64; 2] = [0.453_990_499_739_546_8, 0.891_006_524_188_367_9];
/// Cosine of 145 degrees: hues from red to there are so far from 275 that the ellipses' turn, 30 degrees exp(-((h - 275) / 25)^2), is less
/// than a billionth of a degree.
const NO_TURN: f64 = -0.819_152_044_288_991_8;

impl DifferenceFrom {
    /// Differences from this colour.
    pub fn new(colour: Lab) -> Self {
        let chroma = length(colour.a, colour.b);
        Self { colour, chroma }
    }

    /// CIEDE2000 to another colour.
    pub fn to(&self, other: Lab) -> f64 {
        let one = self.colour;
        let g = 0.5 * (1.0 - share(0.5 * (self.chroma + length(other.a, other.b))));
        let (a_one, a_two) = (one.a * (1.0 + g), other.a * (1.0 + g));
        let (c_one, c_two) = (length(a_one, one.b), length(a_two, other.b));
        let (hue_one, hue_two) = (hue(a_one, one.b, c_one), hue(a_two, other.b, c_two));

        // 2 sqrt(C1 C2) sin(half the angle between the hues), positive anticlockwise.
        let apart = length(hue_two[0] - hue_one[0], hue_two[1] - hue_one[1]);
        let turned = hue_one[0] * hue_two[1] - hue_one[1] * hue_two[0];
        let opposite = turned == 0.0 && upper(hue_two) && !upper(hue_one);
        let sign = if turned < 0.0 || opposite { -1.0 } else { 1.0 };
        let by_hue = sign * (c_one * c_two).sqrt() * apart;
        let (by_l, by_c) = (other.l - one.l, c_two - c_one);

        let [cos, sin] = middle(hue_one, hue_two, sign);
        let (cos_2, sin_2) = (cos * cos - sin * sin, 2.0 * cos * sin);
        let (cos_3, sin_3) = (cos_2 * cos - sin_2 * sin, sin_2 * cos + cos_2 * sin);
        let (cos_4, sin_4) = (cos_2 * cos_2 - sin_2 * sin_2, 2.0 * cos_2 * sin_2);
        let t = 1.0 - 0.17 * (cos * AT_30[0] + sin * AT_30[1])
            + 0.24 * cos_2
            + 0.32 * (cos_3 * AT_6[0] - sin_3 * AT_6[1])
            - 0.20 * (cos_4 * AT_63[0] + sin_4 * AT_63[1]);
        let c = 0.5 * (c_one + c_two);
        let l_50 = 0.5 * (one.l + other.l) - 50.0;
        let l_50 = l_50 * l_50;
        let l = by_l / (1.0 + 0.015 * l_50 / (20.0 + l_50).sqrt());
        let h = by_hue / (1.0 + 0.015 * c * t);
        let c_share = by_c / (1.0 + 0.045 * c);
        let turn = if sin >= 0.0 && cos > NO_TURN {
            0.0
        } else {
            let degrees = libm::atan2(sin, cos).to_degrees().rem_euclid(360.0);
            let off = (degrees - 275.0) / 25.0;
            let angle = 60.0_f64.to_radians() * libm::exp(-off * off);
            -2.0 * share(c) * libm::sin(angle)
        };
        (l * l + c_share * c_share + h * h + turn * c_share * h)
            .max(0.0)
            .sqrt()
    }
}

fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// sqrt(C^7 / (C^7 + 25^7)).
fn share(chroma: f64) -> f64 {
    let cube = chroma * chroma * chroma;
    let seventh = cube * cube * chroma;
    (seventh / (seventh + 6_103_515_625.0)).sqrt()
}

/// The hue as a direction; none for a grey.
fn hue(a: f64, b: f64, chroma: f64) -> [f64; 2] {
    if chroma > 0.0 {
        [a / chroma, b / chroma]
    } else {
        [0.0, 0.0]
    }
}

/// Whether a hue lies from 0 to below 180 degrees.
fn upper([x, y]: [f64; 2]) -> bool {
    y > 0.0 || y == 0.0 && x > 0.0
}

/// The hue in the middle of two; red of two greys, as 0 degrees stand for none. `sign`: of the turn from one to the other, positive
/// anticlockwise.
fn middle(one: [f64; 2], two: [f64; 2], sign: f64) -> [f64; 2] {
    if one[0] * two[0] + one[1] * two[1] >= 0.0 {
        let sum = [one[0] + two[0], one[1] + two[1]];
        let length = length(sum[0], sum[1]);
        return if length > 0.0 {
            sum.map(|v| v / length)
        } else {
            [1.0, 0.0]
        };
    }
    // The sum of nearly opposite hues is mostly rounding; across their difference it is exact.
    let apart = [two[0] - one[0], two[1] - one[1]];
    let length = length(apart[0], apart[1]);
    [sign * apart[1] / length, -sign * apart[0] / length]
}

#[cfg(test)]
mod tests {
    use palette::color_difference::Ciede2000;
    use proptest::prelude::*;

    use super::*;

    fn close(one: Lab, two: Lab) {
        let (ours, theirs) = (DifferenceFrom::new(one).to(two), one.difference(two));
        // Between hues on either side of red palette's mean hue may be 360 to 450 degrees, where the turn is not yet nothing.
        let beside_red = one.b * two.b < 0.0 && one.a.max(two.a) > 0.0;
        let within = if beside_red { 2e-5 } else { 1e-9 };
        assert!(
            (ours - theirs).abs() < within * theirs.max(1.0),
            "{one:?} {two:?}: {ours} {theirs}"
        );
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4096))]

        /// As palette has it, for colours near each other and far apart.
        #[test]
        fn the_same_as_a_library_says(
            l in 0.0..100.0, a in -128.0..128.0, b in -128.0..128.0,
            by in proptest::array::uniform3(-1.0..1.0), scale in -9.0..5.0,
        ) {
            let by = by.map(|v| v * libm::exp(scale));
            close(Lab::new(l, a, b), Lab::new(l + by[0], a + by[1], b + by[2]));
        }
    }

    /// Hues that are opposite but for rounding: their middle lies on one side or the other, and either is right.
    #[test]
    fn nearly_opposite_hues_have_one_of_two_middles() {
        for a in -20..=20 {
            for b in -20..=20 {
                for factor in [-3.0, -1.0 / 3.0, -1.5, -0.7] {
                    let (a, b) = (3.0 * f64::from(a), 3.0 * f64::from(b));
                    let one = Lab::new(50.0, a, b);
                    let two = Lab::new(55.0, factor * a, factor * b);
                    let ours = DifferenceFrom::new(one).to(two);
                    let off = |by: f64| {
                        let turned = Lab::new(two.l, two.a - by * two.b, two.b + by * two.a);
                        (ours - one.difference(turned)).abs()
                    };
                    let off = off(1e-9).min(off(-1e-9));
                    assert!(off < 2e-5 * ours.max(1.0), "{one:?} {two:?}: {ours} {off}");
                }
            }
        }
    }

    #[test]
    fn greys_and_opposite_hues_too() {
        assert!((NO_TURN - libm::cos(145.0_f64.to_radians())).abs() < 1e-15);
        let axis = [-40.0, -1.0, 0.0, 1.0, 40.0];
        for a in axis {
            for b in axis {
                close(Lab::new(50.0, a, b), Lab::new(55.0, 0.0, 0.0));
                close(Lab::new(50.0, 0.0, 0.0), Lab::new(55.0, a, b));
                close(Lab::new(50.0, a, b), Lab::new(50.0, -2.0 * a, -2.0 * b));
            }
        }
    }
}
