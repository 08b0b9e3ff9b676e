//! What lies on cards and glass besides paint: writing, pencil lines, tape, dust, hairs.

use serde::Serialize;

use super::random::Random;

/// A mark on a card, in mm of the card frame.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Mark {
    /// Words written by hand.
    Writing {
        /// Lower-case letters, digits and a few signs; others are left blank.
        text: String,
        /// Start of the base line.
        at: [f64; 2],
        /// Height of a tall letter.
        height: f64,
        /// Direction of the line, degrees clockwise from u.
        angle: f64,
        /// Width of the pen.
        pen: f64,
        /// Reflectance of the ink, 0 to 1.
        ink: f64,
    },
    /// A straight line.
    Line {
        /// One end.
        from: [f64; 2],
        /// The other.
        to: [f64; 2],
        /// Width of the pen.
        pen: f64,
        /// Reflectance of the ink or graphite.
        ink: f64,
        /// Share of what lies below that is covered, 0 to 1.
        cover: f64,
    },
    /// A strip of adhesive tape.
    Tape {
        /// Its middle.
        centre: [f64; 2],
        /// Length and width.
        size: [f64; 2],
        /// Degrees clockwise from u.
        angle: f64,
        /// Its own reflectance in the three channels.
        colour: [f64; 3],
        /// Share of what lies below that is covered: near 0 clear tape, 1 paper tape.
        cover: f64,
    },
}

/// A pen stroke between two points, ready to be drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// One end.
    pub from: [f64; 2],
    /// The other end.
    pub to: [f64; 2],
    /// Half the width.
    pub radius: f64,
    /// Reflectance.
    pub ink: f64,
    /// Share covered.
    pub cover: f64,
}

impl Mark {
    /// Strokes of a mark; none for tape, which is an area.
    pub fn strokes(&self, random: &mut Random) -> Vec<Stroke> {
        match self {
            Self::Writing {
                text,
                at,
                height,
                angle,
                pen,
                ink,
            } => write(text, *at, *height, *angle, random)
                .into_iter()
                .map(|[from, to]| Stroke {
                    from,
                    to,
                    radius: 0.5 * pen * random.between(0.85, 1.15),
                    ink: *ink,
                    cover: 0.92,
                })
                .collect(),
            Self::Line {
                from,
                to,
                pen,
                ink,
                cover,
            } => {
                vec![Stroke {
                    from: *from,
                    to: *to,
                    radius: 0.5 * pen,
                    ink: *ink,
                    cover: *cover,
                }]
            }
            Self::Tape { .. } => Vec::new(),
        }
    }
}

/// Line pieces of a hand-written word, letters jittered a little.
fn write(
    text: &str,
    at: [f64; 2],
    height: f64,
    angle: f64,
    random: &mut Random,
) -> Vec<[[f64; 2]; 2]> {
    // The alphabet's tall letters are six units high and stand on line seven.
    let unit = height / 6.0;
    let (sin, cos) = (libm::sin(angle.to_radians()), libm::cos(angle.to_radians()));
    let slope = random.between(-0.02, 0.02);
    let mut pieces = Vec::new();
    let mut pen_x = 0.0;
    for letter in text.chars() {
        let glyph = glyph(letter);
        let lift = random.between(-0.3, 0.3);
        let mut widest = 2.0_f64;
        for stroke in glyph.split(' ').filter(|s| !s.is_empty()) {
            let points: Vec<[f64; 2]> = stroke
                .as_bytes()
                .chunks_exact(2)
                .map(|pair| {
                    let (gx, gy) = (f64::from(pair[0] - b'0'), f64::from(pair[1] - b'0'));
                    widest = widest.max(gx);
                    let x = pen_x + gx + random.between(-0.15, 0.15) - 0.18 * (gy - 7.0);
                    let y = gy - 7.0 + lift + random.between(-0.15, 0.15) + slope * pen_x;
                    [
                        at[0] + unit * (x * cos - y * sin),
                        at[1] + unit * (x * sin + y * cos),
                    ]
                })
                .collect();
            pieces.extend(points.windows(2).map(|w| [w[0], w[1]]));
        }
        pen_x += widest + random.between(1.1, 1.7);
    }
    pieces
}

/// Strokes of a letter: pairs of digits are x (0 to 4) and y (1 top of tall letters, 4 of small ones, 7 base line).
fn glyph(letter: char) -> &'static str {
    match letter {
        'a' => "34140506172736 3437",
        'b' => "0107 05142435362717 0617",
        'c' => "34140506172737",
        'd' => "3137 35241405061727 2736",
        'e' => "0535241405061737",
        'f' => "31211217 0424",
        'g' => "343829 2909 35241405061727 2736",
        'h' => "0107 0514243537",
        'i' => "1417 1213",
        'j' => "24281909 2223",
        'k' => "0107 3406 1537",
        'l' => "111627",
        'm' => "0407 05142527 25344547",
        'n' => "0407 0514243537",
        'o' => "140506172736352414",
        'p' => "0409 05142435362717 1706",
        'q' => "3439 352414050617 172736",
        'r' => "0407 051424",
        's' => "341405362707",
        't' => "12162737 0424",
        'u' => "0406172736 3437",
        'v' => "042734",
        'w' => "0417253744",
        'x' => "0437 3407",
        'y' => "041627 3419",
        'z' => "04340737",
        '0' => "110206172736322111",
        '1' => "021117",
        '2' => "021121320737",
        '3' => "01312435260706",
        '4' => "27210535",
        '5' => "310104243516 1607",
        '6' => "21030617273635240405",
        '7' => "013117",
        '8' => "110213243526170604132211",
        '9' => "342413021121323637",
        '-' => "0535",
        '/' => "3107",
        '.' => "1617",
        ',' => "1608",
        ':' => "1415 1617",
        '+' => "1317 0535",
        _ => "",
    }
}

/// A hair or fibre on the glass within a page of `size` mm: a bent line in short pieces.
pub fn hair(size: [f64; 2], random: &mut Random) -> Vec<Stroke> {
    let start = [random.between(0.0, size[0]), random.between(0.0, size[1])];
    let mut heading = random.between(0.0, std::f64::consts::TAU);
    let mut bend = random.between(-0.05, 0.05);
    let length = random.between(4.0, 22.0);
    let radius = random.between(0.03, 0.07);
    let ink = *random.pick(&[0.05, 0.08, 0.25, 0.7]);
    let step = 0.4;
    let mut at = start;
    (0..(length / step) as usize)
        .map(|_| {
            bend += random.between(-0.012, 0.012);
            heading += bend;
            let next = [
                at[0] + step * libm::cos(heading),
                at[1] + step * libm::sin(heading),
            ];
            let piece = Stroke {
                from: at,
                to: next,
                radius,
                ink,
                cover: 0.8,
            };
            at = next;
            piece
        })
        .collect()
}

/// A grain of dust on the glass.
pub fn grain(size: [f64; 2], random: &mut Random) -> Stroke {
    let at = [random.between(0.0, size[0]), random.between(0.0, size[1])];
    let to = [
        at[0] + random.between(-0.15, 0.15),
        at[1] + random.between(-0.15, 0.15),
    ];
    Stroke {
        from: at,
        to,
        radius: random.between_log(0.03, 0.22),
        ink: *random.pick(&[0.12, 0.3, 0.5, 0.75]),
        cover: random.between(0.35, 0.95),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_run_along_their_line_and_stay_near_it() {
        let mark = Mark::Writing {
            text: "tide violet 3".into(),
            at: [10.0, 20.0],
            height: 6.0,
            angle: 0.0,
            pen: 0.4,
            ink: 0.1,
        };
        let strokes = mark.strokes(&mut Random::new(1));
        assert!(strokes.len() > 40);
        assert!(
            strokes
                .iter()
                .all(|s| s.from[1] > 12.0 && s.from[1] < 24.0 && s.from[0] > 9.0)
        );
        assert!(strokes.iter().any(|s| s.from[0] > 40.0));
    }

    #[test]
    fn every_letter_and_digit_has_a_shape() {
        for letter in ('a'..='z').chain('0'..='9') {
            let glyph = glyph(letter);
            assert!(!glyph.is_empty(), "{letter}");
            assert!(
                glyph.split(' ').all(|s| s.len() >= 4 && s.len() % 2 == 0),
                "{letter}: {glyph}"
            );
        }
    }
}
