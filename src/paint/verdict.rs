//! Clear or milky, in numbers and words a painter can use.
//!
//! No standard grades artists' paint from transparent to opaque, and the usual contrast ratio mixes hiding by scattering
//! with hiding by absorbing. So two numbers stand side by side: *milk on black*, which is scatter at a fixed depth of
//! colour, and the contrast ratio of the films as drawn (ISO 6504-3 and ASTM D2805 restrict it to light paints).
//! The bounds of the grades are this project's own.

use super::{
    Constants,
    file::{Grade, State, Surface},
};
use crate::{
    colour::{self, Lab},
    film::surface,
    spectrum::{BANDS, Bands},
};

/// Measured reflectance of the nominal white stripe: milk on black does not depend on the card.
pub const NOMINAL_WHITE: f64 = 0.84;
/// Measured reflectance of the nominal black stripe.
pub const NOMINAL_BLACK: f64 = 0.035;
/// Glaze depth: the paint is thinned until the smallest of X, Y, Z over white is this share of the bare white's.
pub const GLAZE_DEPTH: f64 = 0.42;
/// Y over black / Y over white that counts as hiding (convention of ISO 6504-1 and ASTM D2805; still slightly visible).
pub const HIDES: f64 = 0.98;
/// Milk on black in L*: below the first a clear glaze, then slightly milky, then a veil, above the last covering.
pub const GRADE_BOUNDS: [f64; 3] = [1.0, 3.0, 12.0];
/// Glaze depth and hiding are looked for up to this many times the thickest film of the card.
pub const REACH: f64 = 3.0;

/// How far a paint lifts the black when thinned to glaze depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Milk {
    /// Rise of the nominal black in L*; negative where the film darkens it.
    pub on_black: f64,
    /// Its standard deviation.
    pub sd: f64,
    /// The build at glaze depth.
    pub build: f64,
}

fn nominal(reflectance: f64) -> Bands {
    [surface::to_internal(reflectance); BANDS]
}

/// Smallest of X, Y, Z over the nominal white relative to the bare nominal white, and which it is.
fn depth(paint: &Constants, build: f64) -> (f64, usize) {
    let xyz = paint.over(build, &nominal(NOMINAL_WHITE)).xyz();
    let ratios = [
        xyz.x / colour::WHITE[0],
        xyz.y / colour::WHITE[1],
        xyz.z / colour::WHITE[2],
    ];
    let least = (0..3)
        .min_by(|&i, &j| ratios[i].total_cmp(&ratios[j]))
        .unwrap_or(0);
    (ratios[least] / NOMINAL_WHITE, least)
}

/// The colour of an even grey of this reflectance.
fn bare_lab(reflectance: f64) -> Lab {
    let [x, y, z] = colour::WHITE.map(|white| reflectance * white);
    colour::lab(colour::Xyz::new(x, y, z))
}

/// Milk on black, or `None` where the paint does not fall to glaze depth within [`REACH`] times the thickest film.
pub fn milk(paint: &Constants, thickest: f64) -> Option<Milk> {
    let build = first_crossing(REACH * thickest, |build| {
        depth(paint, build).0 - GLAZE_DEPTH
    })?;
    let over_white = paint.over(build, &nominal(NOMINAL_WHITE));
    let over_black = paint.over(build, &nominal(NOMINAL_BLACK));
    let (lab, to_lab) = colour::lab_with_slopes(over_black.xyz());
    let bare = bare_lab(NOMINAL_BLACK);
    // The build follows the constants so that the depth stays: d log build = -slope of depth / slope along log build.
    let (_, axis) = depth(paint, build);
    let white_slopes = over_white.xyz_slopes();
    let along_build = over_white.xyz_by_build()[axis];
    let lift = to_lab[0][1];
    let black_by_build = lift * over_black.xyz_by_build()[1];
    let slopes = over_black.xyz_slopes().row(1) * lift
        - white_slopes.row(axis) * (black_by_build / along_build);
    let variance = (slopes * paint.covariance * slopes.transpose())[(0, 0)];
    Some(Milk {
        on_black: lab.l - bare.l,
        sd: variance.max(0.0).sqrt(),
        build,
    })
}

/// Y over the nominal black / Y over the nominal white.
pub fn contrast_ratio(paint: &Constants, build: f64) -> f64 {
    let y = |ground| paint.over(build, &nominal(ground)).xyz().y;
    y(NOMINAL_BLACK) / y(NOMINAL_WHITE)
}

/// The thinnest film of contrast ratio [`HIDES`] on nominal stripes, looked for up to build `most`.
pub fn hiding_build(paint: &Constants, most: f64) -> Option<f64> {
    first_crossing(most, |build| HIDES - contrast_ratio(paint, build))
}

/// Smallest build up to `most` at which `f` falls through zero.
fn first_crossing(most: f64, f: impl Fn(f64) -> f64) -> Option<f64> {
    const STEPS: usize = 48;
    // From a thousandth of the reach upwards in equal factors.
    let at = |i: usize| most * libm::pow(10.0, 3.0 * (i as f64 / STEPS as f64 - 1.0));
    let first = (0..=STEPS).find(|&i| f(at(i)) <= 0.0)?;
    if first == 0 {
        return Some(at(0));
    }
    let (mut low, mut high) = (at(first - 1), at(first));
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if f(middle) <= 0.0 {
            high = middle
        } else {
            low = middle
        }
    }
    Some(high)
}

/// The grade: by milk on black where the paint reaches glaze depth, otherwise by the film that hides.
pub fn grade(milk: Option<Milk>, hiding: Option<f64>, thickest: f64) -> Grade {
    match milk {
        Some(m) => grade_of_milk(m.on_black),
        None => match hiding {
            Some(build) if build <= thickest => Grade::Covering,
            Some(build) if build <= REACH * thickest => Grade::HalfCovering,
            _ => Grade::Veil,
        },
    }
}

/// The grade of a milk on black alone.
pub fn grade_of_milk(on_black: f64) -> Grade {
    match on_black {
        m if m < GRADE_BOUNDS[0] => Grade::Clear,
        m if m < GRADE_BOUNDS[1] => Grade::SlightlyMilky,
        m if m < GRADE_BOUNDS[2] => Grade::Veil,
        _ => Grade::Covering,
    }
}

/// All grades that the milk may as well belong to, its own among them: those within 1.645 standard deviations (the 90 %
/// interval of a normal distribution), from clear to covering.
pub fn possible(milk: Milk) -> Vec<Grade> {
    const ALL: [Grade; 4] = [
        Grade::Clear,
        Grade::SlightlyMilky,
        Grade::Veil,
        Grade::Covering,
    ];
    let at = |sign: f64| {
        let grade = grade_of_milk(milk.on_black + sign * 1.645 * milk.sd);
        ALL.iter().position(|&g| g == grade).unwrap_or(0)
    };
    let (low, high) = (at(-1.0), at(1.0));
    ALL[low.min(high)..=low.max(high)].to_vec()
}

impl Grade {
    /// The verdict as a headline.
    pub fn headline(self) -> &'static str {
        match self {
            Self::Clear => "Glazes clean.",
            Self::SlightlyMilky => "Glazes, slightly milky.",
            Self::Veil => "Veils: a velatura.",
            Self::HalfCovering => "Half covers.",
            Self::Covering => "Covers.",
        }
    }

    /// In running text, after "it".
    pub fn phrase(self) -> &'static str {
        match self {
            Self::Clear => "glazes clean",
            Self::SlightlyMilky => "glazes, slightly milky",
            Self::Veil => "veils (velatura)",
            Self::HalfCovering => "half covers",
            Self::Covering => "covers",
        }
    }
}

/// The verdict for the painter: a headline and sentences.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verdict {
    /// Two or three words.
    pub headline: String,
    /// What it does when thinned to glaze depth, with milk on black and its range.
    pub thinned: String,
    /// What the films on the card do as they are drawn.
    pub drawn: String,
    /// That the number lies near a bound, if it does.
    pub near: Option<String>,
}

/// Words for a paint. `contrast` is that of the thickest film as drawn, `milk` absent where it has none.
pub fn words(
    state: State,
    grade: Option<Grade>,
    milk: Option<(f64, f64)>,
    contrast: f64,
    masstone: Option<Lab>,
) -> Verdict {
    let drawn = drawn_words(contrast, masstone);
    let Some(grade) = grade else {
        return Verdict {
            headline: headline_without_grade(state).into(),
            thinned: state_words(state).into(),
            drawn,
            near: None,
        };
    };
    let thinned = match (grade, milk) {
        (_, None) => "It cannot be thinned to glaze depth: white stays light under it. It does not glaze, and is graded by the film that hides.".to_owned(),
        (Grade::Clear, Some(m)) => format!(
            "Thinned until white falls to the same depth as any other tube, it does not lighten black: {}. Not opaque enough for a velatura.",
            milk_words(m.0, m.1)
        ),
        (Grade::SlightlyMilky, Some(m)) => format!(
            "Thinned to glaze depth it lifts black a little: {}. Clean over lights, a faint haze over darks.",
            milk_words(m.0, m.1)
        ),
        (Grade::Veil, Some(m)) => format!(
            "Thinned to glaze depth it goes milky over your darks: {}. Opaque enough for a velatura (a milky veil, light over dark).",
            milk_words(m.0, m.1)
        ),
        (Grade::HalfCovering | Grade::Covering, Some(m)) => format!(
            "Even thinned to glaze depth it covers your darks: {}. Very thin it is a velatura; it does not glaze.",
            milk_words(m.0, m.1)
        ),
    };
    let possible = milk
        .map(|(on_black, sd)| Milk {
            on_black,
            sd,
            build: 1.0,
        })
        .map(possible)
        .unwrap_or_default();
    let near = match possible[..] {
        [] | [_] => None,
        [one, other] => Some(format!(
            "Near a bound: the card cannot rule out that it {}.",
            if one == grade { other } else { one }.phrase()
        )),
        [least, .., most] => Some(format!(
            "The range is wide: it may be anything from “{}” to “{}”.",
            least.phrase(),
            most.phrase()
        )),
    };
    // A range over three grades is no verdict yet.
    let headline = if possible.len() > 2 {
        format!("Perhaps {}.", grade.phrase())
    } else {
        grade.headline().into()
    };
    Verdict {
        headline,
        thinned,
        drawn,
        near,
    }
}

/// `milk on black −2.1, give or take 0.6 L*`: tenths, as the bounds between the grades are fine; range of nine in ten, at least 0.1.
pub fn milk_words(on_black: f64, sd: f64) -> String {
    format!(
        "milk on black {}, give or take {:.1} L*",
        signed(on_black),
        (1.645 * sd).max(0.1)
    )
}

/// One decimal, with a true minus and none before a zero.
pub(crate) fn signed(value: f64) -> String {
    let text = format!("{value:.1}");
    if text == "-0.0" {
        "0.0".to_owned()
    } else {
        text.replace('-', "−")
    }
}

fn drawn_words(contrast: f64, masstone: Option<Lab>) -> String {
    if contrast < HIDES {
        // 0.979 is not yet 0.98.
        let contrast = contrast.min(HIDES - 0.01);
        return format!(
            "As drawn, the thickest film keeps the stripes in view (contrast ratio {contrast:.2}; 0.98 counts as hiding)."
        );
    }
    // Below Y 15 the standards do not accept the ratio (ASTM D2805): a dark film hides by absorbing.
    match masstone {
        Some(lab) if colour::xyz(lab).y < 0.15 => {
            "As drawn, the thickest film hides the stripes, by absorbing: it is dark rather than milky.".into()
        }
        _ => "As drawn, the thickest film hides the stripes, by scattering.".into(),
    }
}

fn headline_without_grade(state: State) -> &'static str {
    match state {
        State::MasstoneOnly => "Masstone only.",
        State::AbsorptionAtLeast => "Too dark to read.",
        State::NotModelled => "Picture only.",
        State::Known | State::OneFilm | State::ScatterAtMost => "Not graded.",
    }
}

/// What a state means and what to do, for the painter. Empty for a paint that is known.
pub fn state_words(state: State) -> &'static str {
    match state {
        State::Known => "",
        State::MasstoneOnly => {
            "Masstone only: both stripes look the same under every film. Draw a film about a quarter as thick. The body colour is known all the same."
        }
        State::ScatterAtMost => {
            "It scatters less than this scan can see: no film lightens black, so it is a clear glaze. Over the deepest darks the range of thick films is wide; a thicker film on the card, where white still shows through it, would narrow it."
        }
        State::AbsorptionAtLeast => "Every film is nearly black over white too. Draw it thinner.",
        State::OneFilm => {
            "Only one film: scatter and a dull surface cannot be told apart, so the range is wider. Draw a second film, about half as thick."
        }
        State::NotModelled => {
            "No paint that scatters and absorbs gives these colours: an outline lies in the wrong place, or it is a fluorescent, metallic or interference paint. No constants, only the picture."
        }
    }
}

/// What to know of a film of `build` whose card hides what thinner films do. Empty where it does not, or `thinnest`, the
/// thinnest film on the card, is not thicker.
pub fn guess_words(state: State, build: f64, thinnest: f64) -> &'static str {
    match state {
        State::MasstoneOnly | State::AbsorptionAtLeast if build < 0.99 * thinnest => {
            "Thinner than any film on its card, and there even the thinnest hides: what shows through is a guess. Do not rely on it before a thinner film is drawn."
        }
        _ => "",
    }
}

/// Which surface predictions are for, where it is not the card's own. `dull`: the films were called glossy and read as dull.
pub fn surface_words(surface: Surface, dull: bool) -> &'static str {
    if dull || surface != Surface::Glossy {
        "Its films had a dull surface; the colours are those of a glossy one, oiled out or varnished. Left dull, darks look lighter."
    } else {
        ""
    }
}

/// What one film does over one ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Here {
    /// Only darkens and keeps the drawing.
    Glaze,
    /// Lightens: a milky film that keeps some of what lies below.
    Veil,
    /// Hides what lies below.
    Covering,
}

impl Here {
    /// One word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Glaze => "glaze",
            Self::Veil => "veil",
            Self::Covering => "covering",
        }
    }

    /// The same for the page, where a colour rises by so much L*: a veil that lifts it little is slightly milky, by the same bound as a
    /// tube's grade.
    pub fn word_for(self, rise: f64) -> &'static str {
        match self {
            Self::Veil if is_slight(rise) => "slightly milky",
            _ => self.word(),
        }
    }
}

/// Whether a veil that lifts a colour by so much L* is slight: as a tube that lifts black by no more ([`GRADE_BOUNDS`]).
pub fn is_slight(rise: f64) -> bool {
    rise < GRADE_BOUNDS[1]
}

/// Less than this share of the L* between lights and darks is a drawing that can hardly be told, and less than half is one that goes
/// (both ours).
pub const HARDLY_LEFT: f64 = 0.1;

/// L* of the nominal white less L* of the nominal black, bare.
pub fn nominal_span() -> f64 {
    bare_lab(NOMINAL_WHITE).l - bare_lab(NOMINAL_BLACK).l
}

/// The verdict for films over one ground: `left` is the L* distance of nominal white and black that remains visible under
/// them.
pub fn here(before: Lab, after: Lab, left: f64) -> Here {
    if left < HARDLY_LEFT * nominal_span() {
        Here::Covering
    } else if after.l <= before.l + 0.5 {
        Here::Glaze
    } else {
        Here::Veil
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(on_black: f64, sd: f64) -> Verdict {
        let grade = Some(grade_of_milk(on_black));
        words(State::Known, grade, Some((on_black, sd)), 0.3, None)
    }

    #[test]
    fn a_verdict_is_as_sure_as_its_range() {
        let sure = of(-2.4, 0.3);
        assert_eq!((sure.headline.as_str(), sure.near), ("Glazes clean.", None));
        assert!(
            sure.thinned
                .contains("milk on black −2.4, give or take 0.5 L*")
        );
        let near = of(2.5, 0.5);
        assert_eq!(near.headline, "Glazes, slightly milky.");
        assert!(near.near.unwrap().ends_with("that it veils (velatura)."));
        let wide = of(10.0, 9.5);
        assert_eq!(wide.headline, "Perhaps veils (velatura).");
        assert!(
            wide.near
                .unwrap()
                .ends_with("anything from “glazes clean” to “covers”.")
        );
    }

    #[test]
    fn a_ratio_that_does_not_hide_is_not_rounded_to_one_that_does() {
        let almost = words(State::Known, Some(Grade::Veil), None, 0.9799, None);
        assert!(
            almost.drawn.contains("contrast ratio 0.97;"),
            "{}",
            almost.drawn
        );
    }
}
