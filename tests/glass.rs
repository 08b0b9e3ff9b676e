//! Films over a picture: the tables beside the full model.

use std::{fs, path::Path};

use twoground::{
    colour::{self, Lab, ScreenSpace, Xyz},
    glass::{Family, Grounds, plain, table::Shared},
    paint::{Constants, Record, file::Surface},
    picture::{Film, Kept},
    scan::Profile,
    simulate::random::Random,
};

/// A sample's constants.
fn sample(name: &str) -> Constants {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let text = fs::read_to_string(folder.join(format!("{name}.pigment.json"))).expect("a sample");
    Record::read(&text)
        .and_then(|record| record.constants())
        .expect("a sample predicts")
}

fn film(paint: usize, build: f64) -> Film {
    Film { paint, build }
}

/// Lab of encoded values that are not cut to the gamut.
fn lab_of(node: [f32; 4], space: ScreenSpace) -> Lab {
    let linear = [0, 1, 2].map(|i| {
        let v = f64::from(node[i]);
        colour::decode_srgb(v.abs()).copysign(v)
    });
    let [x, y, z] = space
        .to_xyz()
        .map(|row| row[0] * linear[0] + row[1] * linear[1] + row[2] * linear[2]);
    colour::lab(Xyz::new(x, y, z))
}

/// Pictures mostly hold colours that paint can have: half of the codes at random, half near greys.
fn codes(random: &mut Random) -> [u16; 3] {
    if random.chance(0.5) {
        return std::array::from_fn(|_| (65535.0 * random.unit()) as u16);
    }
    let grey = random.between(0.05, 0.97);
    std::array::from_fn(|_| (65535.0 * (grey + 0.08 * random.normal()).clamp(0.0, 1.0)) as u16)
}

fn percentile(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * share) as usize]
}

/// The table may be 0.5 CIEDE2000 off at the 95th percentile (ours). Clear, milky and dark films, alone and in stacks, at
/// their full build and at shares of it.
#[test]
fn the_tables_agree_with_the_full_model() {
    let names = [
        "lantern-gold",
        "storm-blue",
        "foam-white",
        "net-brown",
        "cliff-rose",
        "grey-earth",
        "kelp-green",
    ];
    let paints: Vec<Constants> = names.iter().map(|name| sample(name)).collect();
    let paints: Vec<&Constants> = paints.iter().collect();
    let to_xyz = Profile::srgb().to_xyz();
    let space = ScreenSpace::DisplayP3;
    let grounds = Grounds::new(&to_xyz, Surface::Glossy);
    let mut random = Random::new(20);
    let stacks: [&[Film]; 8] = [
        &[film(0, 1.0)],
        &[film(1, 1.0)],
        &[film(1, 4.0)],
        &[film(2, 0.5)],
        &[film(3, 2.0)],
        &[film(4, 0.4)],
        &[film(0, 0.7), film(4, 0.3)],
        &[film(5, 0.3), film(1, 0.6), film(6, 0.5)],
    ];
    for films in stacks {
        let mut kept = Kept::default();
        let mut family = |grounds: &Grounds| {
            Family::new(grounds, space, Shared::Fine, &mut |share| {
                Ok(*kept
                    .responses(&paints, &plain::thinned(films, share))?
                    .bands())
            })
            .expect("films that can be predicted")
        };
        let family = family(&grounds);
        let (mut full, mut part, mut bare) = (vec![], vec![], vec![]);
        for i in 0..600 {
            let code = codes(&mut random);
            let share = match i % 3 {
                0 => 255,
                _ => random.below(255) as u8 + 1,
            };
            let part_of = f64::from(share) / 255.0;
            let mut kept = Kept::default();
            let at = (&to_xyz, Surface::Glossy);
            let exact = plain::seen(&mut kept, &paints, films, part_of, at, code).expect("films");
            let off = colour::difference(exact, lab_of(family.at(code, share), space));
            if share == 255 { &mut full } else { &mut part }.push(off);
            let exact = plain::seen(&mut kept, &paints, films, 0.0, at, code).expect("films");
            bare.push(colour::difference(exact, lab_of(family.at(code, 0), space)));
        }
        println!(
            "{films:?}: {} tables; full {:.2} {:.2}, part {:.2} {:.2}, bare {:.2}",
            family.len(),
            percentile(full.clone(), 0.5),
            percentile(full.clone(), 0.95),
            percentile(part.clone(), 0.5),
            percentile(part.clone(), 0.95),
            percentile(bare.clone(), 0.95),
        );
        for (what, off) in [("full", full), ("part", part), ("bare", bare)] {
            assert!(percentile(off, 0.95) < 0.5, "{what}, {films:?}");
        }
    }
}
