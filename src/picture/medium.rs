//! Usual mediums, as beginnings whose parts a painter changes.
//!
//! The recipes are common practice, no source: they are taught in these parts by volume. How much of a varnish or of a bought
//! medium stays in the dry film differs from jar to jar; what stands here is the middle of what is told (from memory).

use super::plan::Thinning;

/// A usual medium.
#[derive(Debug, PartialEq)]
pub struct Medium {
    /// What it is saved as.
    pub key: &'static str,
    /// What it is made of, in parts by volume.
    pub words: &'static str,
    /// Parts of paint, of what stays and of what evaporates to begin with: so that it flows and stays lean (ours).
    pub thinning: [f64; 3],
    /// What to know of it; empty where its parts tell.
    pub caution: &'static str,
}

/// All of them, those without resin first.
pub const MEDIA: [Medium; 6] = [
    Medium {
        key: "oil",
        words: "linseed or walnut oil alone",
        thinning: [4.0, 1.0, 0.0],
        caution: "",
    },
    Medium {
        key: "oil-solvent",
        words: "oil 1, solvent 1",
        thinning: [2.0, 1.0, 1.0],
        caution: "",
    },
    Medium {
        key: "stand-oil-solvent",
        words: "stand oil 1, solvent 3",
        thinning: [4.0, 1.0, 3.0],
        caution: "",
    },
    // Of the varnish about half is resin.
    Medium {
        key: "damar",
        words: "stand oil 1, damar varnish 1, turpentine 5",
        thinning: [7.0, 1.5, 5.5],
        caution: "Damar yellows and stays soluble: such a glaze may come off when the picture is cleaned. Turpentine can make the skin sensitive: gloves.",
    },
    Medium {
        key: "alkyd",
        words: "alkyd medium from a jar",
        thinning: [3.0, 2.0, 1.0],
        caution: "Alkyd dries fast: lay it over nothing that dries more slowly.",
    },
    Medium {
        key: ACRYLIC,
        words: "acrylic medium, for acrylics",
        thinning: [2.0, 1.0, 1.0],
        caution: "",
    },
];

/// The one that is thinned by water.
pub const ACRYLIC: &str = "acrylic";

impl Medium {
    /// Its place by what it is saved as.
    pub fn place(key: &str) -> Option<usize> {
        MEDIA.iter().position(|medium| medium.key == key)
    }

    /// Parts to begin with.
    pub fn begin(&self) -> Thinning {
        let [paint, stays, evaporates] = self.thinning;
        Thinning {
            paint,
            stays,
            evaporates,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What the recipes' own parts leave behind, as it is told of them: of the damar medium a fifth to a quarter, of stand oil and
    /// three of spirit a quarter, of alkyd a half to four fifths.
    #[test]
    fn so_much_of_each_stays() {
        let stays = |key: &str| {
            let Thinning {
                stays, evaporates, ..
            } = MEDIA[Medium::place(key).unwrap()].begin();
            stays / (stays + evaporates)
        };
        assert_eq!(stays("oil"), 1.0);
        assert_eq!(stays("oil-solvent"), 0.5);
        assert_eq!(stays("stand-oil-solvent"), 0.25);
        assert!((0.2..0.25).contains(&stays("damar")));
        assert!((0.5..0.8).contains(&stays("alkyd")));
        // None begins with more oil or resin than paint, nor thinner than half.
        for medium in &MEDIA {
            let thinning = medium.begin();
            assert!(
                thinning.share() >= 0.5 && thinning.fat() <= 0.4,
                "{medium:?}"
            );
        }
    }
}
