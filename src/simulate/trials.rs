//! Random scenes over the whole range of cards that people make, for the card finder's tests and the bench of troubles.

use super::{
    marks::Mark,
    paints,
    random::Random,
    scene::{Card, Edges, File, FileKind, Film, Page, Scanner, Scene, Stripe},
    sensor::Kind,
    shades::{Directions, Light},
    space::Space,
};
use crate::{
    card::Ground,
    spectrum::{BANDS, Bands, wavelengths},
};

/// Random scene number `seed`, scanned at `dpi`.
pub fn scene(seed: u64, dpi: f64) -> Scene {
    let mut random = Random::of(seed, "trial");
    let lid_reflectance = *random.pick(&[0.82, 0.82, 0.86, 0.45, 0.30, 0.04, 0.06]);
    let count = if random.chance(0.15) {
        random.whole(2, 4)
    } else {
        1
    };
    let cards = cards(&mut random, count, lid_reflectance);
    let phone = random.chance(0.12);
    let (cards, page) = page(&mut random, cards, dpi, lid_reflectance, phone);
    let (scanner, file) = if phone {
        (phone_camera(&mut random), phone_file(&mut random))
    } else {
        let file = file(&mut random, dpi);
        (scanner(&mut random), file)
    };
    Scene {
        seed,
        light: light(&mut random),
        cards,
        scanner,
        file,
        page,
    }
}

/// Random scene number `seed` with a single card on a flatbed, changed before it is laid there.
pub(super) fn one_card(seed: u64, dpi: f64, change: impl Fn(&mut Card)) -> Scene {
    let mut random = Random::of(seed, "one card");
    let mut cards = cards(&mut random, 1, 0.82);
    cards.iter_mut().for_each(change);
    let (cards, page) = page(&mut random, cards, dpi, 0.82, false);
    Scene {
        seed,
        light: light(&mut random),
        cards,
        scanner: scanner(&mut random),
        file: file(&mut random, dpi),
        page,
    }
}

fn light(random: &mut Random) -> Light {
    Light {
        anisotropy: *random.pick(&[0.0, 0.2, 0.4, 0.6]),
        directions: Directions::Eight,
    }
}

/// One card of any size, or several that fit on A4 or A3 together.
fn cards(random: &mut Random, count: usize, lid_reflectance: f64) -> Vec<Card> {
    let most = if count == 1 { f64::INFINITY } else { 240.0 };
    (0..count)
        .map(|_| {
            let mut drawn = card(random, lid_reflectance);
            for _ in 0..200 {
                if drawn.width() + drawn.length < most {
                    break;
                }
                drawn = card(random, lid_reflectance);
            }
            drawn
        })
        .collect()
}

fn scanner(random: &mut Random) -> Scanner {
    let sharp = random.chance(0.2);
    Scanner {
        sensor: *random.pick(&[
            Kind::Ideal,
            Kind::Lamp,
            Kind::Lamp,
            Kind::WhiteLed,
            Kind::ThreeLeds,
        ]),
        glare: if random.chance(0.6) {
            random.between(0.03, 0.2)
        } else {
            0.0
        },
        glare_reach: random.between(18.0, 30.0),
        shading: if random.chance(0.5) {
            [random.between(-0.05, 0.05), random.between(-0.05, 0.05)]
        } else {
            [0.0; 2]
        },
        blur: random.between(0.3, 1.2),
        dark_noise: random.between_log(0.0005, 0.004),
        light_noise: random.between_log(0.001, 0.01),
        exposure: *random.pick(&[1.0, 1.0, 1.0, 0.9, 1.08]),
        offset: *random.pick(&[0.0, 0.0, 0.0, 0.006, -0.004]),
        sharpening: if sharp { random.between(0.3, 1.2) } else { 0.0 },
        ..Scanner::ideal()
    }
}

/// A phone by a window: light that falls off, sharpening, mostly no tone mapping that one could see.
fn phone_camera(random: &mut Random) -> Scanner {
    Scanner {
        sensor: *random.pick(&[Kind::Lamp, Kind::WhiteLed]),
        shading: [random.between(-0.12, 0.12), random.between(-0.12, 0.12)],
        blur: random.between(0.6, 1.4),
        dark_noise: random.between_log(0.001, 0.005),
        light_noise: random.between_log(0.003, 0.012),
        exposure: random.between(0.75, 1.05),
        sharpening: random.between(0.2, 1.0),
        tone: if random.chance(0.3) {
            random.between(0.1, 0.4)
        } else {
            0.0
        },
        ..Scanner::ideal()
    }
}

fn phone_file(random: &mut Random) -> File {
    File {
        space: *random.pick(&[Space::Srgb, Space::DisplayP3]),
        tagged: true,
        kind: *random.pick(&[FileKind::Jpeg(90), FileKind::Jpeg(80)]),
        dpi: *random.pick(&[None, Some(72.0)]),
    }
}

fn file(random: &mut Random, dpi: f64) -> File {
    let kind = *random.pick(&[
        FileKind::Png8,
        FileKind::Png8,
        FileKind::Png16,
        FileKind::Jpeg(90),
        FileKind::Jpeg(75),
        FileKind::Tiff8,
    ]);
    let tagged = random.chance(0.7);
    File {
        space: if tagged {
            *random.pick(&[Space::Srgb, Space::DisplayP3, Space::Romm])
        } else {
            Space::Srgb
        },
        tagged,
        kind,
        dpi: if random.chance(0.8) {
            Some(dpi)
        } else {
            *random.pick(&[None, Some(72.0), Some(96.0)])
        },
    }
}

/// A page with the cards on it, each in any of the four orientations and up to ten degrees off: one, or rows of two.
fn page(
    random: &mut Random,
    mut cards: Vec<Card>,
    dpi: f64,
    lid_reflectance: f64,
    phone: bool,
) -> (Vec<Card>, Page) {
    let before = [random.between(3.0, 25.0), random.between(3.0, 25.0)];
    let after = [random.between(3.0, 25.0), random.between(3.0, 25.0)];
    let (mut right, mut bottom) = (0.0_f64, 0.0_f64);
    let mut at = before;
    for (i, card) in cards.iter_mut().enumerate() {
        card.rotation = *random.pick(&[0.0, 0.0, 0.0, 90.0, 180.0, 270.0])
            + random.between(-10.0, 10.0) * if random.chance(0.8) { 1.0 } else { 0.0 };
        if i % 2 == 0 && i > 0 {
            at = [before[0], bottom + random.between(3.0, 20.0)];
        }
        let [low, high] = extent(card);
        card.centre = [at[0] - low[0], at[1] - low[1]];
        right = right.max(at[0] + high[0] - low[0]);
        bottom = bottom.max(at[1] + high[1] - low[1]);
        at[0] += high[0] - low[0] + random.between(3.0, 20.0);
    }
    let lid = if phone && random.chance(0.6) {
        // A wooden table.
        wavelengths().map(|nm| 0.16 + 0.22 / (1.0 + libm::exp(-(nm - 570.0) / 35.0)))
    } else {
        [lid_reflectance; BANDS]
    };
    let page = Page {
        size: [right + after[0], bottom + after[1]],
        dpi,
        lid,
        // Inwards, so that the cards stay in the picture.
        perspective: if phone {
            [[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]]
                .map(|towards| towards.map(|t: f64| t * random.between(0.0, 0.03)))
        } else {
            [[0.0; 2]; 4]
        },
        dust: if random.chance(0.6) {
            random.between(2.0, 80.0)
        } else {
            0.0
        },
        hairs: if random.chance(0.4) {
            random.whole(1, 6)
        } else {
            0
        },
    };
    (cards, page)
}

/// Lowest and highest x, y of a card's paper from the middle of its stripes, turned as it lies.
fn extent(card: &Card) -> [[f64; 2]; 2] {
    let [left, top, right, bottom] = card.margins;
    let (sin, cos) = (
        libm::sin(card.rotation.to_radians()),
        libm::cos(card.rotation.to_radians()),
    );
    let (half_width, half_length) = (0.5 * card.width(), 0.5 * card.length);
    let corners = [
        [-half_width - left, -half_length - top],
        [half_width + right, -half_length - top],
        [half_width + right, half_length + bottom],
        [-half_width - left, half_length + bottom],
    ]
    .map(|[x, y]| [cos * x - sin * y, sin * x + cos * y]);
    [f64::min, f64::max].map(|pick: fn(f64, f64) -> f64| {
        [0, 1].map(|axis| corners.iter().map(|c| c[axis]).reduce(pick).unwrap_or(0.0))
    })
}

fn card(random: &mut Random, lid_reflectance: f64) -> Card {
    let stripes = stripes(random);
    let width: f64 = stripes.iter().map(|s| s.width).sum();
    let paint = random.pick(&paints::all()).clone();
    let (films, length) = films(random, width);
    let white = white(random);
    let black = black(random);
    // Black stripes that run off the card onto a black lid end where nobody can see it: to be asked, and rare.
    let bare_edges = random.chance(if lid_reflectance > 0.1 { 0.2 } else { 0.06 });
    let margins = if bare_edges {
        [0.0; 4]
    } else {
        std::array::from_fn(|_| random.between(3.0, 22.0))
    };
    // White stripes are bare paper more often than not.
    let paper = match random.below(10) {
        0..=5 => white,
        6 | 7 => white.map(|r| 0.9 * r),
        8 => wavelengths().map(|nm| 0.30 + 0.25 / (1.0 + libm::exp(-(nm - 560.0) / 30.0))),
        _ => [0.42; BANDS],
    };
    let mut card = Card {
        paint,
        centre: [0.0; 2],
        rotation: 0.0,
        stripes,
        length,
        margins,
        white,
        black,
        paper,
        waviness: if random.chance(0.5) {
            random.between(0.02, 0.15)
        } else {
            0.0
        },
        smear: if random.chance(0.1) {
            random.between(0.05, 0.3)
        } else {
            0.0
        },
        films,
        haze: if random.chance(0.15) {
            *random.pick(&[0.01, 0.03])
        } else {
            0.0
        },
        glow: 0.0,
        sheet: 0.0,
        marks: Vec::new(),
        shadow: if random.chance(0.6) {
            random.between(0.05, 0.4)
        } else {
            0.0
        },
    };
    card.marks = marks(random, &card);
    card
}

/// Two to twelve stripes of 5 to 40 mm, mostly two white and two black ones at least, at most about 180 mm together.
fn stripes(random: &mut Random) -> Vec<Stripe> {
    let width = random.between_log(5.0, 40.0);
    let most = ((180.0 / width) as usize).clamp(4, 12);
    // Mostly two of each at least; now and then the fewest that show anything.
    let fewest = if random.chance(0.06) { 2 } else { 4 };
    let count = random.whole(fewest, most);
    let first_black = random.chance(0.5);
    let ratio = if random.chance(0.3) {
        random.between(0.75, 1.35)
    } else {
        1.0
    };
    let jitter = if random.chance(0.4) { 0.06 } else { 0.0 };
    (0..count)
        .map(|i| {
            let ground = if (i % 2 == 0) == first_black {
                Ground::Black
            } else {
                Ground::White
            };
            let own = if ground == Ground::White {
                width * ratio
            } else {
                width
            };
            Stripe {
                ground,
                width: (own * (1.0 + jitter * random.between(-1.0, 1.0))).max(5.0),
            }
        })
        .collect()
}

/// One to six films with bare gaps, and the length of stripes that they need.
fn films(random: &mut Random, width: f64) -> (Vec<Film>, f64) {
    let count = random.whole(1, 6);
    let thinnest = random.between_log(0.03, 1.5);
    let step = random.between(1.5, 2.6);
    let mut builds: Vec<f64> = (0..count)
        .map(|i| (thinnest * libm::pow(step, i as f64) * random.between(0.85, 1.18)).min(6.0))
        .collect();
    match random.below(3) {
        0 => builds.reverse(),
        1 if count > 2 => builds.swap(0, count - 1),
        _ => {}
    }
    let slanted = random.chance(0.4);
    let height = random.between(8.0, 24.0).min(210.0 / count as f64 - 8.0);
    let look = random.below(3);
    let mut at = random.between(6.0, 18.0);
    let films = builds
        .into_iter()
        .map(|build| {
            let from = at;
            let to = from + (height * random.between(0.85, 1.2)).max(8.0);
            at = to + random.between(6.0, 14.0);
            Film {
                slant: if slanted {
                    random.between(-0.03, 0.03)
                } else {
                    0.0
                },
                reach: [
                    -random.between(1.0, 10.0),
                    width + random.between(1.0, 10.0),
                ],
                ragged_end: random.between(0.0, 1.5),
                edges: match look {
                    0 => Edges::Taped {
                        ridge: random.between(0.0, 0.8),
                    },
                    1 => Edges::Knife {
                        bead: random.between(0.0, 0.9),
                    },
                    _ => Edges::Brushed {
                        ragged: random.between(0.1, 0.35),
                    },
                },
                along: random.between(-0.15, 0.15),
                across: random.between(-0.1, 0.1),
                streaks: if random.chance(0.6) {
                    random.between(0.02, 0.12)
                } else {
                    0.0
                },
                blotches: if random.chance(0.5) {
                    random.between(0.01, 0.06)
                } else {
                    0.0
                },
                bubbles: if random.chance(0.2) {
                    random.between(0.3, 3.0)
                } else {
                    0.0
                },
                ..Film::even(build, from, to, width)
            }
        })
        .collect();
    (films, at + random.between(2.0, 10.0))
}

fn white(random: &mut Random) -> Bands {
    let (level, yellow) = (random.between(0.74, 0.90), random.between(0.0, 0.12));
    wavelengths().map(|nm| {
        level
            * (1.0
                - yellow / (1.0 + libm::exp((nm - 460.0) / 25.0))
                - 0.2 / (1.0 + libm::exp((nm - 408.0) / 6.0)))
    })
}

fn black(random: &mut Random) -> Bands {
    let (level, tilt) = (random.between(0.022, 0.07), random.between(-0.15, 0.15));
    wavelengths().map(|nm| level * (1.0 + tilt * (nm - 550.0) / 150.0))
}

/// Words that a person may write on such a card; names are invented.
const WORDS: [&str; 8] = [
    "tide violet",
    "thin / middle / thick",
    "harbour studio",
    "tube 3",
    "linen oil 1:2",
    "two coats",
    "north wall",
    "batch 12.4",
];

fn marks(random: &mut Random, card: &Card) -> Vec<Mark> {
    let (width, length) = (card.width(), card.length);
    let [left, top, right, bottom] = card.margins;
    let mut marks = Vec::new();
    let ink = *random.pick(&[0.06, 0.12, 0.3]);
    let (start, room) = (0.08 * width, 0.9 * width);
    if top > 8.0 && random.chance(0.6) {
        let height = random.between(2.5, (top - 3.0).min(7.0));
        let at = [start, -0.5 * (top - height)];
        marks.push(writing(random, at, room, height, 0.0, ink));
    }
    if bottom > 8.0 && random.chance(0.4) {
        let height = random.between(2.5, (bottom - 3.0).min(7.0));
        let at = [start, length + 0.5 * (bottom + height)];
        let angle = random.between(-3.0, 3.0);
        marks.push(writing(random, at, room, height, angle, ink));
    }
    if left > 10.0 && random.chance(0.3) {
        let at = [-3.0, 0.6 * length];
        marks.push(writing(random, at, 0.55 * length, 3.5, -90.0, ink));
    }
    if random.chance(0.4) {
        // Pencil guides where films were to begin.
        for film in &card.films {
            marks.push(Mark::Line {
                from: [-0.8 * left.min(8.0), film.from - 1.0],
                to: [-0.5, film.from - 1.0],
                pen: 0.3,
                ink: 0.25,
                cover: 0.6,
            });
        }
    }
    if random.chance(0.25) {
        let paper_tape = random.chance(0.5);
        let (colour, cover) = if paper_tape {
            ([0.72, 0.66, 0.45], 1.0)
        } else {
            ([0.75, 0.74, 0.66], 0.18)
        };
        let at = *random.pick(&[
            [-left, -top],
            [width + right, -top],
            [width + right, length + bottom],
            [-left, length + bottom],
        ]);
        marks.push(Mark::Tape {
            centre: at,
            size: [random.between(20.0, 36.0), random.between(9.0, 14.0)],
            angle: random.between(20.0, 70.0),
            colour,
            cover,
        });
    }
    marks
}

/// Invented words along a line of at most `room` mm.
fn writing(
    random: &mut Random,
    at: [f64; 2],
    room: f64,
    height: f64,
    angle: f64,
    ink: f64,
) -> Mark {
    let text = (*random.pick(&WORDS)).to_owned();
    // A letter is about 0.72 as wide as it is high.
    let height = height.min(room / (0.72 * text.len() as f64));
    Mark::Writing {
        text,
        at,
        height,
        angle,
        pen: random.between(0.3, 0.8),
        ink,
    }
}
