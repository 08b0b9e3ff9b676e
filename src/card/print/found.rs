//! Printed cards found by their codes, all others without marks.

use serde::{Deserialize, Serialize};

use super::{
    BRUSHED, CAPACITY, CODES, COLOUR_AT, COLOUR_SIZE, COLOUR_STEP, COLOURS, GLARE, GREY_AT,
    GREY_STEP, GREYS, LANES, STRIPE, STRIPED, STRIPES,
    marks::{self, Map, Placed},
};
use crate::{
    Error, Result,
    card::{Ground, Layout, cells, find as unmarked, rectify::Frame},
    colour,
    paint::file::{Finding, Record, Scrap},
    scan::Scan,
};

/// A card of a scan.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Where it lies.
    pub layout: Layout,
    /// What its codes and chips say, for a printed one.
    pub printed: Option<Printed>,
}

/// What a printed card says of itself and of the scan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Printed {
    /// Its number.
    pub number: u32,
    /// The label typed before it was printed, perhaps cut.
    pub label: String,
    /// Codes that were read, of four.
    pub codes: usize,
    /// Whether the card was squared from the codes; otherwise they only gave number and label.
    pub squared: bool,
    /// Size over the size that it should have been printed at, where the scan's resolution is known.
    pub scale: Option<f64>,
    /// Share of its light that white loses where black surrounds it: the scanner's glare.
    pub glare: Option<f64>,
    /// L* of the bare white chip and of the grey steps after it, as the scan has them, unless they were painted over.
    #[serde(default)]
    pub greys: Option<[f64; 1 + GREYS.len()]>,
    /// The underpainting colours that were painted in, as the scan has them: nothing is scaled.
    #[serde(default)]
    pub squares: Vec<Square>,
}

/// A painted square.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Square {
    /// Its colour: medians of the channels.
    pub xyz: [f64; 3],
    /// Standard deviations of that by its pixels.
    pub xyz_sd: [f64; 3],
    /// Pixels looked at.
    pub pixels: u64,
}

/// Largest distance of a stripe's edge or a film from where it was printed, in mm, at which the codes are believed.
const STRIPE_OFF: f64 = 1.5;
const LANE_OFF: f64 = 4.0;
/// Worst fit of the finder patterns at which they are believed, mm: 1.4 mm were seen with codes missing.
const MOST_OFF: f64 = 0.6;

/// Size over its own at which a card is said to be printed at another (ours).
const SCALE_OFF: f64 = 0.02;
/// Glare that is worth a word (ours).
const MUCH_GLARE: f64 = 0.03;

/// L* by which grey steps must differ not to have run together, and least chroma of a step that was painted over (ours). Steps
/// are sent to the printer 13 to 24 apart; one whose greys come out half as light again or half as dark keeps them 5 apart.
const STEPS_APART: f64 = 1.5;
const STEP_PAINTED: f64 = 12.0;

/// Way of working in the lane for a brushed coat.
const BRUSH: &str = "brush";

/// Codes of what [`Printed::inscribe`] may say.
pub const FINDINGS: [&str; 5] = [
    "printed-unlike",
    "printed-size",
    "glare-chips",
    "grey-steps",
    "brushed-coat",
];

impl Printed {
    /// Whether a card can say this, by far: what codes and chips gave always is so, a damaged text may not be.
    pub(crate) fn is_sound(&self) -> bool {
        let within = |value: f64| value.abs() <= 1e4;
        self.label.len() <= CAPACITY
            && self.codes <= CODES.len()
            && self.scale.is_none_or(within)
            && self.glare.is_none_or(within)
            && self.greys.iter().flatten().all(|&l| within(l))
            && self.squares.len() <= COLOURS
            && self.squares.iter().all(|square| {
                let values = square.xyz.iter().chain(&square.xyz_sd);
                values.into_iter().all(|&v| within(v)) && square.pixels <= 1 << 40
            })
    }

    /// What to say where grey steps that were printed apart have run together. How dark each is tells nothing of the scanner,
    /// because every printer makes greys darker or lighter than it was told; but what the eye tells apart on the card, a scan
    /// without corrections does too. The last step is left out: some printers fill it in.
    fn run_together(&self) -> Option<String> {
        let greys = self.greys?;
        let lost = |i: usize| greys[i] - greys[i + 1] < STEPS_APART;
        let lights = (0..2).any(lost);
        let darks = (2..GREYS.len()).any(lost);
        let which = match (lights, darks) {
            (true, false) => "lightest",
            (false, true) => "darkest",
            (true, true) => "lightest and the darkest",
            (false, false) => return None,
        };
        Some(format!(
            "The {which} grey steps of printed card {:04} have run together in this scan. Look at the card: if you see them apart, the scanner’s automatic corrections cut them; turn those off and scan again. If you do not, the printer did it, and nothing is wrong with the scan.",
            self.number
        ))
    }

    /// Puts into a record of the card what only a printed one tells: its number and label, and what was noticed. `layout` has the
    /// films of the record.
    pub fn inscribe(&self, layout: &Layout, record: &mut Record) {
        record.provenance.card_number = Some(self.number);
        if record.paint.name.is_empty() {
            record.paint.name.clone_from(&self.label);
        }
        let mut say = |code: &str, words: String| {
            record.findings.push(Finding {
                code: code.to_owned(),
                words,
            });
        };
        let number = self.number;
        if !self.squared {
            say(
                "printed-unlike",
                format!(
                    "This is printed card {number:04}, but its codes do not fit what is seen, so it was found without them. Look whether the outline is right."
                ),
            );
        }
        if let Some(scale) = self
            .scale
            .filter(|scale| (scale - 1.0).abs() > SCALE_OFF && self.squared)
        {
            say(
                "printed-size",
                format!(
                    "Printed card {number:04} is {:.0} % of its size, or the scan’s resolution is not what its file says. Colours and builds do not change by that; lengths in mm do. Print at 100 %.",
                    100.0 * scale
                ),
            );
        }
        if let Some(glare) = self.glare.filter(|&glare| glare > MUCH_GLARE) {
            say(
                "glare-chips",
                format!(
                    "White within black reads {:.0} % darker than white within white: light strays in this scanner. The bare stripes beside the films take most of that off.",
                    100.0 * glare
                ),
            );
        }
        if let Some(words) = self.run_together() {
            say("grey-steps", words);
        }
        let brushed = layout.films.iter().position(|film| film.brushed);
        if let Some((film, build)) = brushed.and_then(|i| Some((i + 1, record.films.get(i)?))) {
            let unit = record.reference_film + 1;
            say(
                "brushed-coat",
                if unit == film {
                    format!(
                        "Film {film} is one coat as you brush it, and the only film here, so this card counts in it. Draw one more, thinner or thicker, in a lane with tape."
                    )
                } else {
                    format!(
                        "Film {film} is one coat as you brush it: {:.2} of film {unit}, in which this card counts, give or take {:.2}.",
                        build.build,
                        1.645 * build.build_sd
                    )
                },
            );
            record.coats.push(Scrap {
                way: BRUSH.to_owned(),
                coats: 1.0,
                film: Some(film - 1),
                over: None,
                painted: None,
                from: "the card’s own lane".to_owned(),
            });
        }
    }
}

/// Finds all cards, printed or not, in reading order.
///
/// # Errors
/// As [`unmarked::find`], where there is no printed card either.
pub fn find(scan: &Scan) -> Result<Vec<Found>> {
    find_with(scan, None)
}

/// [`find`], but if `films` is given, with exactly so many films on every card where that is possible.
///
/// # Errors
/// As [`find`].
pub fn find_with(scan: &Scan, films: Option<usize>) -> Result<Vec<Found>> {
    let seen = marks::codes(scan);
    let groups = marks::groups(&seen);
    if groups.is_empty() {
        let plain = |layout| Found {
            layout,
            printed: None,
        };
        return Ok(unmarked::find_with(scan, films)?
            .into_iter()
            .map(plain)
            .collect());
    }
    let mut left: Vec<(Printed, Option<Placed>)> = Vec::new();
    let mut found: Vec<Found> = Vec::new();
    for codes in groups {
        let label = codes
            .iter()
            .map(|code| &code.mark.label)
            .max_by_key(|label| label.len());
        let printed = Printed {
            number: codes[0].mark.number,
            label: label.cloned().unwrap_or_default(),
            codes: codes.len(),
            squared: false,
            scale: None,
            glare: None,
            greys: None,
            squares: Vec::new(),
        };
        let placed = marks::place(scan, &codes).filter(|placed| placed.off < MOST_OFF);
        match placed
            .as_ref()
            .and_then(|placed| checked(scan, placed, films))
        {
            Some(layout) => {
                let placed = placed.expect("it was checked");
                found.push(complete(scan, layout, printed, &placed.map, true));
            }
            None => left.push((printed, placed)),
        }
    }
    if !found.is_empty() && left.is_empty() && !more_cards(scan, &found) {
        return Ok(in_reading_order(found));
    }
    // Cards without codes, or with codes that do not fit what is seen.
    let others = match unmarked::find_with(scan, films) {
        Ok(others) => others,
        Err(_) if !found.is_empty() => Vec::new(),
        Err(error) => return Err(error),
    };
    for layout in others {
        let middle = middle(&layout);
        if found.iter().any(|known| holds(&known.layout, middle)) {
            continue;
        }
        let at = left.iter().position(|(_, placed)| {
            placed.as_ref().is_some_and(|placed| {
                let [x, y] = placed.map.to_card(middle);
                let [left, top, width, height] = STRIPED;
                (left..left + width).contains(&x) && (top..top + height).contains(&y)
            })
        });
        let alone = left.len() == 1 && found.is_empty();
        found.push(match at.or(alone.then_some(0)) {
            Some(at) => {
                let (printed, placed) = left.remove(at);
                match placed {
                    Some(placed) => complete(scan, layout, printed, &placed.map, false),
                    None => Found {
                        layout,
                        printed: Some(printed),
                    },
                }
            }
            None => Found {
                layout,
                printed: None,
            },
        });
    }
    if found.is_empty() {
        return Err(Error::NoCard);
    }
    Ok(in_reading_order(found))
}

fn in_reading_order(mut found: Vec<Found>) -> Vec<Found> {
    let layouts = found.iter().map(|card| card.layout.clone()).collect();
    unmarked::in_reading_order(layouts)
        .into_iter()
        .filter_map(|layout| {
            let at = found.iter().position(|card| card.layout == layout)?;
            Some(found.swap_remove(at))
        })
        .collect()
}

/// Whether there is room for cards beside the printed ones that were found: only then is it worth looking for them.
fn more_cards(scan: &Scan, found: &[Found]) -> bool {
    let area = |corners: &[[f64; 2]; 4]| {
        let cross = (0..4).map(|i| {
            let [a, b] = [corners[i], corners[(i + 1) % 4]];
            a[0] * b[1] - a[1] * b[0]
        });
        0.5 * cross.sum::<f64>().abs()
    };
    let whole = (scan.width * scan.height) as f64;
    // A striped area with the rest of its card is three times as large.
    let taken: f64 = found
        .iter()
        .map(|card| 3.4 * area(&card.layout.corners))
        .sum();
    taken < 0.6 * whole
}

fn middle(layout: &Layout) -> [f64; 2] {
    [0, 1].map(|axis| layout.corners.iter().map(|c| c[axis]).sum::<f64>() / 4.0)
}

fn holds(layout: &Layout, at: [f64; 2]) -> bool {
    Frame::of(layout).is_some_and(|frame| {
        let [u, v] = frame.to_card(at);
        (0.0..layout.size[0]).contains(&u) && (0.0..layout.size[1]).contains(&v)
    })
}

/// The layout that the codes give, if what is seen there agrees: five stripes where they were printed, and films in their
/// lanes.
fn checked(scan: &Scan, placed: &Placed, films: Option<usize>) -> Option<Layout> {
    let [left, top, width, height] = STRIPED;
    let corners = [
        [left, top],
        [left + width, top],
        [left + width, top + height],
        [left, top + height],
    ]
    .map(|at| placed.map.to_scan(at));
    let mut layout = unmarked::within(scan, corners, films).ok()?;
    let factor = [width / layout.size[0], height / layout.size[1]];
    layout.size = [width, height];
    layout.millimetres = true;
    for stripe in &mut layout.stripes {
        stripe.from *= factor[0];
        stripe.to *= factor[0];
    }
    for film in &mut layout.films {
        for edge in [&mut film.top, &mut film.bottom] {
            edge.left *= factor[1];
            edge.right *= factor[1];
        }
    }
    let as_printed = layout.stripes.len() == STRIPES
        && layout.stripes.iter().enumerate().all(|(i, stripe)| {
            let ground = if i % 2 == 0 {
                Ground::White
            } else {
                Ground::Black
            };
            stripe.ground == ground && (stripe.from - STRIPE * i as f64).abs() < STRIPE_OFF
        });
    let in_lanes = films.is_some() || layout.films.iter().all(|film| lane(film).is_some());
    // Which way the stripes run, and which end is up, is known here: only questions about films are left.
    layout.doubts.retain(|doubt| doubt.film.is_some());
    (as_printed && in_lanes).then_some(layout)
}

/// The lane that a film lies in.
fn lane(film: &crate::card::FilmBand) -> Option<usize> {
    let middle = |edge: crate::card::Edge| 0.5 * (edge.left + edge.right);
    let at = 0.5 * (middle(film.top) + middle(film.bottom)) + STRIPED[1];
    LANES
        .iter()
        .position(|[top, height]| (at - top - height / 2.0).abs() < LANE_OFF + height / 4.0)
}

fn complete(
    scan: &Scan,
    mut layout: Layout,
    mut printed: Printed,
    map: &Map,
    squared: bool,
) -> Found {
    printed.squared = squared;
    printed.scale = scan
        .origin
        .dpi
        .map(|dpi| map.per_mm([95.0, 63.0]) / (dpi / 25.4));
    for film in &mut layout.films {
        film.brushed = squared && lane(film) == Some(BRUSHED);
    }
    let chips = GLARE.map(|chip| square(scan, map, chip.middle, [chip.side; 2]));
    if let [Some(in_black), Some(in_white)] = chips {
        let y = |square: Square| square.xyz[1];
        if y(in_white) > 0.2 {
            printed.glare = Some(1.0 - y(in_black) / y(in_white));
        }
    }
    if let Some(white) = chips[1] {
        printed.greys = greys(scan, map, white.xyz);
        printed.squares = painted(scan, map, white.xyz);
    }
    Found {
        layout,
        printed: Some(printed),
    }
}

/// The inner half of a square by robust means: medians of the channels, and how far pixels usually are from them.
fn square(scan: &Scan, map: &Map, middle: [f64; 2], size: [f64; 2]) -> Option<Square> {
    const LOOKS: usize = 24;
    const INNER: f64 = 0.6;
    /// Neighbouring pixels err together: a square counts as no more than so many (ours, as for a picked spot).
    const MOST_GRAINS: f64 = 25.0;
    /// Standard deviation of a normal distribution over its median deviation.
    const OF_MEDIAN: f64 = 1.4826;
    let mut channels: [Vec<f64>; 3] = Default::default();
    for i in 0..LOOKS * LOOKS {
        let at = [i % LOOKS, i / LOOKS].map(|k| (k as f64 + 0.5) / LOOKS as f64 - 0.5);
        let [x, y] = map.to_scan([0, 1].map(|k| middle[k] + INNER * size[k] * at[k]));
        if x < 0.0 || y < 0.0 || x >= scan.width as f64 || y >= scan.height as f64 {
            return None;
        }
        let additive = scan.profile.additive_of(scan.code(x as usize, y as usize));
        for (channel, value) in channels.iter_mut().zip(additive) {
            channel.push(value);
        }
    }
    let both = channels.map(|mut channel| {
        let median = cells::median(&mut channel);
        let mut off: Vec<f64> = channel.iter().map(|v| (v - median).abs()).collect();
        (median, OF_MEDIAN * cells::median(&mut off))
    });
    let to_xyz = scan.profile.to_xyz();
    let xyz = scan.profile.xyz(both.map(|(median, _)| median));
    Some(Square {
        xyz: [xyz.x, xyz.y, xyz.z],
        xyz_sd: std::array::from_fn(|i| {
            let of = |c: usize| (to_xyz[i][c] * both[c].1).powi(2) / MOST_GRAINS;
            libm::sqrt((0..3).map(of).sum::<f64>())
        }),
        pixels: (LOOKS * LOOKS) as u64,
    })
}

/// L* of the white chip and of the grey steps, unless one has a colour or is lighter than the one before.
fn greys(scan: &Scan, map: &Map, white: [f64; 3]) -> Option<[f64; 1 + GREYS.len()]> {
    let lab = |[x, y, z]: [f64; 3]| colour::lab(colour::Xyz::new(x, y, z));
    let bare = lab(white);
    let mut greys = [bare.l; 1 + GREYS.len()];
    for i in 0..GREYS.len() {
        let [left, top] = GREY_AT;
        let middle = [
            left + GREY_STEP[0] * (i as f64 + 0.5),
            top + GREY_STEP[1] / 2.0,
        ];
        let seen = lab(square(scan, map, middle, GREY_STEP)?.xyz);
        let coloured = (seen.a - bare.a).hypot(seen.b - bare.b) > STEP_PAINTED;
        if coloured || seen.l > greys[i] + STEPS_APART {
            return None;
        }
        greys[i + 1] = seen.l;
    }
    Some(greys)
}

/// Least CIEDE2000 from the card's white at which a square counts as painted.
const PAINTED: f64 = 4.0;

/// Squares that were painted.
fn painted(scan: &Scan, map: &Map, white: [f64; 3]) -> Vec<Square> {
    let lab = |[x, y, z]: [f64; 3]| colour::lab(colour::Xyz::new(x, y, z));
    let bare = lab(white);
    (0..COLOURS)
        .filter_map(|i| {
            let middle = [
                COLOUR_AT[0] + COLOUR_STEP * i as f64 + COLOUR_SIZE[0] / 2.0,
                COLOUR_AT[1] + COLOUR_SIZE[1] / 2.0,
            ];
            let seen = square(scan, map, middle, COLOUR_SIZE)?;
            (colour::difference(lab(seen.xyz), bare) > PAINTED).then_some(seen)
        })
        .collect()
}
