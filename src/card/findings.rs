//! What is wrong with a scan or a card, in a painter's words, each with what to do and where it is.
//!
//! Bounds are ours unless a source stands beside them.

use super::{
    Ground, Layout, beside,
    cells::{self, BareStripe, PooledCell, Sampled},
    tones::{
        black::{self, BLACK_Y, DEEP},
        white::{Doubt, Level},
    },
};
use crate::{
    colour::{self, Lab, Xyz},
    paint::file::{self, State},
    scan::Scan,
};

/// One thing that was noticed.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Stable word for programs.
    pub code: &'static str,
    /// What was seen: one sentence.
    pub words: String,
    /// What to do about it: one sentence.
    pub action: &'static str,
    /// How much it matters.
    pub weight: Weight,
    /// What it is about.
    pub place: Place,
}

/// How much a finding matters, most first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// The numbers are wrong or missing until it is mended.
    Spoils,
    /// The range is wider than it need be.
    Widens,
    /// Good to know.
    Notes,
}

/// What a finding is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The whole card or scan.
    Card,
    /// All stripes of one kind.
    Stripes(Ground),
    /// One film.
    Film(usize),
    /// One film over one kind of stripe.
    Cells(usize, Ground),
}

impl Finding {
    /// Where it is on the squared card: quadrangles, clockwise from the top left, in units of [`Layout::size`].
    pub fn outlines(&self, scan: &Scan, layout: &Layout) -> Vec<[[f64; 2]; 4]> {
        let [width, height] = layout.size;
        match self.place {
            Place::Card => vec![[[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]],
            Place::Stripes(ground) => {
                let stripes = layout
                    .stripes
                    .iter()
                    .filter(|stripe| stripe.ground == ground);
                stripes
                    .map(|s| [[s.from, 0.0], [s.to, 0.0], [s.to, height], [s.from, height]])
                    .collect()
            }
            Place::Film(film) => {
                let film = layout.films.get(film);
                film.map(|f| {
                    [
                        [0.0, f.top.left],
                        [width, f.top.right],
                        [width, f.bottom.right],
                        [0.0, f.bottom.left],
                    ]
                })
                .into_iter()
                .collect()
            }
            Place::Cells(film, ground) => {
                let measured = cells::outlines(scan, layout).unwrap_or_default();
                let here = measured
                    .into_iter()
                    .filter(|cell| cell.film == film && cell.ground == ground);
                here.map(|cell| cell.corners).collect()
            }
        }
    }
}

impl From<&Finding> for file::Finding {
    fn from(finding: &Finding) -> Self {
        Self {
            code: finding.code.into(),
            words: format!("{} {}", finding.words, finding.action),
        }
    }
}

/// Share of clipped pixels that is worth telling.
const CLIPPED: f64 = 0.05;
/// Share of clipped pixels of a white stripe that speaks for automatic exposure or contrast.
const STRIPE_CLIPPED: f64 = 0.2;
/// Y of a white stripe that is grey. ASTM D2805 asks for 0.78.
const WHITE_Y: f64 = 0.6;
/// b* of whites that are brightened, and yellowed (common practice, no source).
const WHITE_B: (f64, f64) = (-4.0, 5.0);
/// Spread of a film, as a share of what it does, that is worth telling.
const UNEVEN: f64 = 0.2;
/// Pixels of a cell below which noise shows.
const FEW_PIXELS: u64 = 400;
/// Narrowest stripe that leaves room to measure, mm.
const NARROW: f64 = 5.0;
/// Share of a cell left out as dirt that is worth telling.
const DIRTY: f64 = 0.15;
/// Fall of the light over the card that is worth telling.
const SHADING: f64 = 0.1;
/// How much black stripes differ from place to place, levelled, when contrast was set locally. Plain scans stay below 0.04.
const BLACK_DIFFERS: f64 = 0.1;
/// Brightness beside an edge that sharpening makes; strong JPEG compression reaches 0.017.
const HALO: f64 = 0.02;
/// Darkness on one side of white stripes that is ink; dust and shading stay below 0.03.
const SMEAR: f64 = 0.035;
/// Ratio of the deepest to the shallowest film below which films are alike.
const ALIKE: f64 = 1.3;
/// Ratio of the thickest to the thinnest fitted build from which on they are not, however they look.
const ALIKE_BUILDS: f64 = 1.7;

/// What the fit made of a card.
#[derive(Debug, Clone, Copy)]
pub struct Outcome<'a> {
    /// What the card could tell at all.
    pub state: State,
    /// Whether films called glossy could only be understood as dull.
    pub dull: bool,
    /// What the white stripe is measured by.
    pub level: Level,
    /// Fitted builds of the films; empty without a fit.
    pub builds: &'a [f64],
}

/// Everything noticed on a card, what matters most first.
pub fn findings(
    scan: &Scan,
    layout: &Layout,
    sampled: &Sampled,
    outcome: &Outcome,
) -> Vec<Finding> {
    let &Outcome {
        state,
        dull,
        level,
        builds,
    } = outcome;
    let mut found = Vec::new();
    found.extend(of_state(sampled, state));
    found.extend(of_file(scan));
    found.extend(of_exposure(sampled));
    found.extend(of_tones(sampled));
    if !found
        .iter()
        .any(|f| ["clipped-lights", "stretched"].contains(&f.code))
    {
        found.extend(of_level(level));
    }
    found.extend(of_edges(scan, layout));
    found.extend(of_stripes(layout, sampled));
    found.extend(of_shading(sampled, level));
    for film in 0..layout.films.len() {
        found.extend(of_film(sampled, film));
    }
    found.extend(alike(sampled, state, builds));
    found.extend(dull.then(dull_surface));
    by_weight(&mut found);
    found
}

/// What matters most first; the order among equals stays as it is.
pub fn by_weight(found: &mut Vec<Finding>) {
    crate::order::sort_by_number(found, |finding| f64::from(finding.weight as u8));
}

/// From this distance on a cell is not the paint that the others tell of (ours; CIEDE2000). Of 444 cards by two programs that draw
/// scans, those with more were misread, spoilt, or cut off at the file's ends.
const OFF_THE_FIT: f64 = 5.0;

/// Cells that the fitted paint does not explain: film, ground, and how far off they are in CIEDE2000. Those that were cut off count as
/// bounds and do not belong here.
pub fn of_fit(cells: impl Iterator<Item = (usize, Ground, f64)>) -> Vec<Finding> {
    let off = cells.filter(|cell| cell.2 > OFF_THE_FIT);
    off.map(|(film, ground, off)| Finding {
        code: "off-the-fit",
        words: format!(
            "Film {} over {} is {off:.0} CIEDE2000 off what the other cells tell of this paint.",
            film + 1,
            match ground {
                Ground::White => "white",
                Ground::Black => "black",
            }
        ),
        action: "Look whether paint lies all over it, right across every stripe, without writing, dirt or shine. If not, move its edges or leave it out.",
        weight: Weight::Spoils,
        place: Place::Cells(film, ground),
    })
    .collect()
}

/// CIEDE2000 from which it is worth asking what kind of scanner it was: one would see it plainly.
const KINDS_APART: f64 = 3.0;

/// Kinds of scanner that put the paint's colours so far apart.
pub fn of_kinds(apart: f64) -> Option<Finding> {
    (apart > KINDS_APART).then(|| {
        whole_card(
            "scanner-kind",
            Weight::Widens,
            format!("Scanners with a white light and scanners with three coloured ones see this paint up to {apart:.0} CIEDE2000 apart, and which one it was is not known."),
            "Say which kind of scanner it was: the range then fits.",
        )
    })
}

fn whole_card(
    code: &'static str,
    weight: Weight,
    words: impl Into<String>,
    action: &'static str,
) -> Finding {
    Finding {
        code,
        words: words.into(),
        action,
        weight,
        place: Place::Card,
    }
}

/// What the card cannot tell.
fn of_state(sampled: &Sampled, state: State) -> Option<Finding> {
    use Weight::{Notes, Spoils, Widens};
    Some(match state {
        State::Known => return None,
        State::MasstoneOnly => whole_card(
            "hidden",
            Spoils,
            "White and black look the same under every film: only the paint’s full colour is known.",
            "Draw one more film, about a quarter as thick.",
        ),
        State::AbsorptionAtLeast => whole_card(
            "too-dark",
            Spoils,
            "White and black both look nearly black under every film.",
            "Draw it much thinner, so that the white stripe shows its hue.",
        ),
        State::ScatterAtMost => whole_card(
            "too-clear",
            Notes,
            "No film makes the black stripe any lighter: the paint is clearer than this scan can see.",
            if hides_white(sampled) {
                "Nothing: it hides by being dark, and no thicker film would tell more."
            } else {
                "Draw one thicker film if you want to know how clear it is over darks."
            },
        ),
        State::OneFilm => whole_card(
            "one-film",
            Widens,
            "There is only one film, so a dull surface and a milky paint cannot be told apart.",
            "Draw a second film, two or three times as thick, on the next card.",
        ),
        State::NotModelled => not_modelled(sampled),
    })
}

/// Whether the deepest film is nearly black over white too.
fn hides_white(sampled: &Sampled) -> bool {
    let whites = sampled
        .pooled
        .iter()
        .filter(|cell| cell.ground == Ground::White);
    let darkest = whites.map(|cell| cell.xyz[1]).fold(f64::INFINITY, f64::min);
    darkest < NEARLY_BLACK
}

/// A film brighter than the bare white, or brighter over black than over white; or films that do not go together.
fn not_modelled(sampled: &Sampled) -> Finding {
    /// So much brighter than the bare white that no film explains it.
    const BRIGHTER: f64 = 1.05;
    let excess = |cell: &PooledCell| {
        let bare = |axis: usize| sampled.white.xyz[axis].max(0.1);
        (0..3)
            .map(|axis| cell.xyz[axis] / bare(axis))
            .fold(0.0, f64::max)
    };
    let over = |film: usize, ground: Ground| {
        let of = |cell: &&PooledCell| cell.film == film && cell.ground == ground;
        sampled.pooled.iter().find(of)
    };
    let brighter_over_black = |cell: &PooledCell| {
        over(cell.film, Ground::White)
            .is_some_and(|white| (0..3).any(|axis| cell.xyz[axis] > white.xyz[axis]))
    };
    let brightest = sampled
        .pooled
        .iter()
        .max_by(|a, b| excess(a).total_cmp(&excess(b)))
        .filter(|cell| excess(cell) > BRIGHTER)
        .or_else(|| {
            let mut over_black = sampled.pooled.iter().filter(|c| c.ground == Ground::Black);
            over_black.find(|cell| brighter_over_black(cell))
        });
    match brightest {
        Some(cell) => Finding {
            code: "not-modelled",
            words: "A film is brighter than anything below it can explain: a fluorescent, metallic or pearl paint?".into(),
            action: "Keep it as a picture; its films cannot be predicted.",
            weight: Weight::Spoils,
            place: Place::Film(cell.film),
        },
        None => whole_card(
            "not-modelled",
            Weight::Spoils,
            "The colours of these cells do not go together as films of one ordinary paint: a fluorescent, metallic or pearl one, another paint on one film, or an outline in the wrong place?",
            "Look at the outlines and correct them, or leave the strange film out. If all is right, keep it as a picture; its films cannot be predicted.",
        ),
    }
}

fn of_file(scan: &Scan) -> Vec<Finding> {
    let mut found = Vec::new();
    let origin = &scan.origin;
    if origin.profile_assumed {
        let words = if origin.profile.starts_with("none") {
            "The scan does not say what its colours mean; sRGB was assumed.".into()
        } else {
            let (why, _) = origin
                .profile
                .split_once(':')
                .unwrap_or((&origin.profile, ""));
            format!("The scan’s colour profile is {why}; sRGB was assumed.")
        };
        let action =
            "Let the scanner’s driver put its colour profile into the file, or set it to sRGB.";
        found.push(whole_card("no-profile", Weight::Widens, words, action));
    }
    if origin.lossy {
        found.push(whole_card(
            "jpeg",
            Weight::Notes,
            "The scan is a JPEG, which blurs small differences in the darks.",
            "Save the next one as PNG or TIFF.",
        ));
    }
    found.extend(
        origin
            .notes
            .iter()
            .filter(|_| !origin.profile_assumed)
            .map(|note| {
                whole_card(
                    "file",
                    Weight::Notes,
                    note.clone(),
                    "Check that this is the picture you meant.",
                )
            }),
    );
    found
}

const SWITCH_OFF: &str =
    "Switch automatic exposure, contrast and colour correction off, and scan again.";

fn of_exposure(sampled: &Sampled) -> Vec<Finding> {
    let mut found = Vec::new();
    if is_clipped(&sampled.white) {
        found.push(Finding {
            code: "clipped-lights",
            words: "The white stripes are as bright as the file can hold: automatic exposure or contrast is on.".into(),
            action: SWITCH_OFF,
            weight: Weight::Spoils,
            place: Place::Stripes(Ground::White),
        });
    }
    if black::clipped(sampled) {
        found.push(Finding {
            code: "clipped-darks",
            words: "The black stripes are cut off at zero: automatic contrast is on.".into(),
            action: SWITCH_OFF,
            weight: Weight::Spoils,
            place: Place::Stripes(Ground::Black),
        });
    }
    found
}

/// Whether a white stripe is cut off at the file's upper end.
fn is_clipped(white: &BareStripe) -> bool {
    white
        .clipped_high
        .iter()
        .any(|&share| share > STRIPE_CLIPPED)
}

/// An exposure that is not known.
fn of_level(level: Level) -> Option<Finding> {
    let Level::Usual(doubt) = level else {
        return None;
    };
    let words = match doubt {
        // Said by what was stretched or cut.
        Doubt::Stretched => return None,
        Doubt::Camera => {
            "This looks like a picture by a camera, so how light the card is altogether is not known: its white counts as a usual one, and the range is wider."
        }
        Doubt::Dark => {
            "The white stripes are darker here than white stripes are: exposure was probably set automatically. They count as a usual white, and the range is wider."
        }
        Doubt::Light => {
            "The white stripes are lighter here than white stripes are: exposure was probably set automatically. They count as a usual white, and the range is wider."
        }
    };
    Some(Finding {
        code: "light-unknown",
        words: words.into(),
        action: "Scan it on a flatbed with automatic exposure off, or give the white stripe’s L* if you have it from an instrument.",
        weight: Weight::Widens,
        place: Place::Stripes(Ground::White),
    })
}

/// Tones that no card has: a driver or a phone has changed them.
fn of_tones(sampled: &Sampled) -> Vec<Finding> {
    let cut = black::clipped(sampled);
    let mut found = Vec::new();
    if black::stretched(sampled) {
        found.push(Finding {
            code: "stretched",
            words: "The whites are whiter and the darks darker than cards and paints are: automatic contrast is probably on.".into(),
            action: SWITCH_OFF,
            weight: Weight::Spoils,
            place: Place::Card,
        });
    } else if black::cut(sampled) && !cut {
        let cell = black::darkest(sampled).cell;
        found.push(Finding {
            code: "darks-cut",
            words: "The darkest part is darker than any paint: the scanner’s zero is too low, or contrast is raised.".into(),
            action: SWITCH_OFF,
            weight: Weight::Spoils,
            place: cell.map_or(Place::Stripes(Ground::Black), |(film, ground)| {
                Place::Cells(film, ground)
            }),
        });
    } else if sampled.black.xyz[1] < DEEP && !cut {
        found.push(Finding {
            code: "black-deep",
            words: format!(
                "The black stripes reflect only {} of the light, as lacquer does and ink on paper does not: was contrast raised?",
                percent(sampled.black.xyz[1])
            ),
            action: "Unless the black is lacquer or gloss paint, switch automatic exposure, contrast and colour correction off, and scan again.",
            weight: Weight::Widens,
            place: Place::Stripes(Ground::Black),
        });
    } else if !cut && sampled.levelled.black_differs > BLACK_DIFFERS {
        found.push(Finding {
            code: "tone-mapped",
            words: format!(
                "The black stripes differ by {} from place to place: contrast was set locally, as phones do.",
                percent(sampled.levelled.black_differs)
            ),
            action: "Scan the card on a flatbed, or switch HDR and scene improvements off and light it evenly.",
            weight: Weight::Widens,
            place: Place::Stripes(Ground::Black),
        });
    }
    if black::veiled(sampled) {
        found.push(whole_card(
            "under-plastic",
            Weight::Spoils,
            "Nothing on the card is really dark, neither the black nor any film: does it lie under plastic film or on dusty glass?",
            "Take it out of its sleeve, clean the glass, and scan again.",
        ));
    }
    found
}

/// What the edges between bare black and bare white show.
fn of_edges(scan: &Scan, layout: &Layout) -> Vec<Finding> {
    let mut found = Vec::new();
    let Some(seen) = beside::beside(scan, layout) else {
        return found;
    };
    if seen.halo > HALO {
        found.push(whole_card(
            "sharpened",
            Weight::Notes,
            format!(
                "White is {} brighter right beside the black: the scan was sharpened. Cells are measured away from edges.",
                percent(seen.halo)
            ),
            "Switch sharpening off for the next scan.",
        ));
    }
    if seen.smear > SMEAR {
        found.push(Finding {
            code: "ink-smeared",
            words: format!(
                "The white is {} darker on one side of the stripes: black was carried over it.",
                percent(seen.smear)
            ),
            action: "Let the black dry and seal it before you draw the next card.",
            weight: Weight::Notes,
            place: Place::Stripes(Ground::White),
        });
    }
    found
}

fn of_stripes(layout: &Layout, sampled: &Sampled) -> Vec<Finding> {
    let mut found = Vec::new();
    let stripes = |ground, code, weight, words: String, action| Finding {
        code,
        words,
        action,
        weight,
        place: Place::Stripes(ground),
    };
    let (white, black) = (&sampled.white, &sampled.black);
    if black.xyz[1] > BLACK_Y {
        found.push(stripes(
            Ground::Black,
            "black-not-black",
            Weight::Widens,
            format!(
                "The black stripes reflect {} of the light, too much to show milkiness well.",
                percent(black.xyz[1])
            ),
            "Print or paint the black twice and seal it with a glossy medium.",
        ));
    }
    let clipped = is_clipped(white);
    let lab = lab_of(white);
    if white.xyz[1] < WHITE_Y {
        found.push(stripes(
            Ground::White,
            "white-grey",
            Weight::Widens,
            format!(
                "The white stripes reflect only {} of the light.",
                percent(white.xyz[1])
            ),
            "Check the scanner’s brightness; if the card itself is grey, use a white one.",
        ));
    } else if lab.b < WHITE_B.0 && !clipped {
        found.push(stripes(
            Ground::White,
            "white-brightened",
            Weight::Widens,
            "The white stripes are bluish: the paper is probably brightened, which shifts thin films and fades.".into(),
            "Use a card without brightener, or paint the white with gesso.",
        ));
    } else if lab.b > WHITE_B.1 && !clipped {
        found.push(stripes(
            Ground::White,
            "white-yellowed",
            Weight::Notes,
            "The white stripes are yellowish; films are reckoned over the white as it is.".into(),
            "If oil has soaked into the card, seal it before you draw; if the card is old, use a fresh one.",
        ));
    }
    let narrowest = layout
        .stripes
        .iter()
        .map(|stripe| stripe.to - stripe.from)
        .fold(f64::INFINITY, f64::min);
    if layout.millimetres && narrowest < NARROW {
        found.push(whole_card(
            "narrow-stripes",
            Weight::Widens,
            format!("The narrowest stripe is only {narrowest:.1} mm wide, so little is left between its edges."),
            "Make the stripes of the next card 10 mm wide or more.",
        ));
    }
    if let Some(cell) = sampled
        .pooled
        .iter()
        .min_by_key(|cell| cell.pixels)
        .filter(|cell| cell.pixels < FEW_PIXELS)
    {
        found.push(Finding {
            code: "few-pixels",
            words: format!(
                "Film {} over {} has only {} pixels.",
                cell.film + 1,
                name(cell.ground),
                cell.pixels
            ),
            action: "Scan at 300 dpi.",
            weight: Weight::Widens,
            place: Place::Cells(cell.film, cell.ground),
        });
    }
    found
}

fn of_shading(sampled: &Sampled, level: Level) -> Option<Finding> {
    let shading = sampled.levelled.shading;
    let action = if level == Level::Usual(Doubt::Camera) {
        "Light it evenly from both sides, or scan it on a flatbed."
    } else {
        "Let the scanner warm up for a quarter of an hour and lay the card in the middle of the glass."
    };
    let words = format!(
        "The light falls off by {} over the card; it was levelled.",
        percent(shading)
    );
    (shading > SHADING).then(|| whole_card("shading", Weight::Notes, words, action))
}

fn of_film(sampled: &Sampled, film: usize) -> Vec<Finding> {
    let mut found = Vec::new();
    let number = film + 1;
    for cell in sampled.pooled.iter().filter(|cell| cell.film == film) {
        found.extend(clipped(cell));
        if cell.rejected_share > DIRTY {
            found.push(Finding {
                code: "dirt",
                words: format!(
                    "Of film {number} over {}, {} was left out as dust, hairs, bubbles or ridges.",
                    name(cell.ground),
                    percent(cell.rejected_share)
                ),
                action: "Clean the glass and the card and scan again; if the film itself is rough, draw a smoother one.",
                weight: Weight::Widens,
                place: Place::Cells(film, cell.ground),
            });
        }
    }
    let spread = sampled.evenness.get(film).copied().unwrap_or(0.0);
    if spread > UNEVEN {
        found.push(Finding {
            code: "uneven",
            words: format!(
                "Film {number} is uneven: it varies by {} within itself.",
                percent(spread)
            ),
            action: "Pull the next one with a stiffer edge, in one steady go.",
            weight: Weight::Widens,
            place: Place::Film(film),
        });
    }
    if sampled
        .crossings
        .iter()
        .any(|crossing| crossing.film == film && !crossing.reached)
    {
        found.push(Finding {
            code: "short-film",
            words: format!(
                "Film {number} does not reach all stripes; those that it misses were left out."
            ),
            action: "Pull the next one right across the card.",
            weight: Weight::Notes,
            place: Place::Film(film),
        });
    }
    found
}

/// Pixels of a film at the ends of the file's range.
fn clipped(cell: &PooledCell) -> Option<Finding> {
    let number = cell.film + 1;
    let over = name(cell.ground);
    let many = |shares: &[f64; 3]| shares.iter().filter(|&&share| share > CLIPPED).count();
    let (low, high) = (many(&cell.clipped_low), many(&cell.clipped_high));
    let (code, words, action) = if high > 0 {
        let words = format!("Film {number} over {over} is brighter than the file can hold.");
        ("clipped-film", words, SWITCH_OFF)
    } else if low == 3 {
        let words = format!("Film {number} over {over} is cut off at zero.");
        ("clipped-film", words, SWITCH_OFF)
    } else if low > 0 && is_black(cell) {
        let words = format!(
            "Film {number} over {over} is so dark that the file cuts one of its channels off at zero; what is cut off counts as a limit."
        );
        ("clipped-film", words, SWITCH_OFF)
    } else if low > 0 {
        let words = format!(
            "Film {number} over {over} is more colourful than the file’s colour space holds; what is cut off counts as a limit."
        );
        (
            "beyond-colours",
            words,
            "Let the scanner write a wider colour space, or its own without colour correction.",
        )
    } else {
        return None;
    };
    Some(Finding {
        code,
        words,
        action,
        weight: Weight::Widens,
        place: Place::Cells(cell.film, cell.ground),
    })
}

/// Whether a cell is nearly black and has hardly a hue: a wider colour space would not help it.
fn is_black(cell: &PooledCell) -> bool {
    /// Chroma below which it has none to speak of (ours).
    const NO_HUE: f64 = 5.0;
    let [x, y, z] = cell.xyz;
    let lab = colour::lab(Xyz::new(x, y, z));
    y < NEARLY_BLACK && libm::hypot(lab.a, lab.b) < NO_HUE
}

/// Y below which a cell counts as nearly black (ours): about what black stripes have.
const NEARLY_BLACK: f64 = 0.05;

/// Films that are all nearly equally deep tell little more than one.
fn alike(sampled: &Sampled, state: State, builds: &[f64]) -> Option<Finding> {
    if !matches!(state, State::Known | State::ScatterAtMost) {
        return None;
    }
    let depths = sampled.depths();
    let deepest = depths.iter().copied().fold(0.0, f64::max);
    let shallowest = depths.iter().copied().fold(f64::INFINITY, f64::min);
    // A hiding paint soon looks alike at every build; then the fit knows better.
    let thickest = builds.iter().copied().fold(0.0, f64::max);
    let thinnest = builds.iter().copied().fold(f64::INFINITY, f64::min);
    let told_apart = thickest > ALIKE_BUILDS * thinnest && !builds.is_empty();
    (depths.len() > 1 && deepest < ALIKE * shallowest && !told_apart).then(|| {
        whole_card(
            "alike",
            Weight::Widens,
            "The films all look nearly alike, so they tell little more than one.",
            "Draw one film half as thick as the thinnest, or, if all are hardly seen, twice as thick as the thickest."
,
        )
    })
}

/// Black lifted by the same grey under every film, as the fit found it: a surface that scatters, not paint.
fn dull_surface() -> Finding {
    Finding {
        code: "dull",
        words:
            "The black is lifted by the same grey under every film: the surface is dull or sunken."
                .into(),
        action: "Say how glossy it is; or oil the card out or varnish it, and scan again.",
        weight: Weight::Widens,
        place: Place::Stripes(Ground::Black),
    }
}

fn lab_of(stripe: &BareStripe) -> Lab {
    let [x, y, z] = stripe.xyz;
    colour::lab(Xyz::new(x, y, z))
}

fn name(ground: Ground) -> &'static str {
    match ground {
        Ground::White => "white",
        Ground::Black => "black",
    }
}

fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

#[cfg(test)]
mod tests;
