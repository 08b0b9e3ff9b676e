//! Files of JSON that come from anywhere: checked as a whole before anything is taken out of them.

use serde::{Deserialize, de::DeserializeOwned, de::IgnoredAny};
use serde_json::value::RawValue;

use crate::{Error, Result, error::plain};

/// Deepest nesting of one of our files. One inside another then stays below the 128 at which JSON's reader stops by itself.
pub(crate) const DEEPEST: usize = 60;

/// One kind of file of our own.
pub(crate) struct Kind {
    /// Value of its field `format`.
    pub(crate) format: &'static str,
    /// Newest version that is read.
    pub(crate) version: u32,
    /// Largest file, in bytes.
    pub(crate) largest: usize,
    /// Deepest nesting.
    pub(crate) deepest: usize,
    /// What is wrong with one: the field, and why, in words that follow its name and end with what to do.
    pub(crate) refused: fn(String, String) -> Error,
}

/// What every such file says first of all.
#[derive(Deserialize)]
struct Head<'a> {
    #[serde(borrow)]
    format: Option<&'a RawValue>,
    #[serde(borrow)]
    version: Option<&'a RawValue>,
}

/// What to do with a file that cannot be used.
pub(crate) const AGAIN: &str = "Save it again where it came from, or choose another file";

impl Kind {
    /// A refusal whose field and reason may quote the file: cut short, and without characters that would spoil the sentence.
    pub(crate) fn refuse(&self, field: &str, reason: &str) -> Error {
        (self.refused)(plain(field), format!("{}. {AGAIN}", plain(reason)))
    }

    /// Reads a file: whole JSON, an object, not nested without end, of this kind and a version that is known. In this order, so
    /// that another kind of file or a newer one gets that said, not its first odd field.
    pub(crate) fn read<T: DeserializeOwned>(&self, text: &str) -> Result<T> {
        let whole = |error: serde_json::Error| {
            self.refuse("the file", &format!("is not whole JSON ({error})"))
        };
        if text.len() > self.largest {
            let reason = format!("is larger than {} MB", self.largest >> 20);
            return Err(self.refuse("the file", &reason));
        }
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        if depth(text) > self.deepest {
            let reason = format!("is nested more than {} deep", self.deepest);
            return Err(self.refuse("the file", &reason));
        }
        serde_json::from_str::<IgnoredAny>(text).map_err(whole)?;
        if !text.trim_ascii_start().starts_with('{') {
            return Err(self.refuse("the file", "is JSON but not an object"));
        }
        let head: Head = serde_json::from_str(text).map_err(whole)?;
        let format = head.format.map(RawValue::get);
        if format
            .and_then(|raw| serde_json::from_str::<String>(raw).ok())
            .as_deref()
            != Some(self.format)
        {
            let reason = format!(
                "is not \"{}\", so this is another kind of file",
                self.format
            );
            return Err(self.refuse("format", &reason));
        }
        match head.version.and_then(|raw| raw.get().parse::<u64>().ok()) {
            Some(v) if v == u64::from(self.version) => {}
            Some(v) if v > u64::from(self.version) => {
                let reason = format!(
                    "is {v}; this program reads up to {}. Use a newer program",
                    self.version
                );
                return Err((self.refused)("version".into(), reason));
            }
            _ => return Err(self.refuse("version", "is not a version number of this format")),
        }
        serde_json::from_str(text).map_err(|error| {
            let path = path(text, &error);
            let field = if path.is_empty() { "the file" } else { &path };
            self.refuse(field, &format!("is wrong ({error})"))
        })
    }
}

/// A list or an object that is being read.
enum Inside<'a> {
    /// So many of its values are behind.
    List(usize),
    /// The field that is being read, as it is written; none before the first and after a comma.
    Object(Option<&'a str>),
}

/// The field at which a reader of whole JSON stopped, such as `films[1].build`; empty at the top.
///
/// `serde_path_to_error` says the same, and the tests hold this against it. It doubles all code that reads our files: 13 kB of what
/// comes over the wire (brotli).
fn path(text: &str, error: &serde_json::Error) -> String {
    let line: usize = text
        .split_inclusive('\n')
        .take(error.line().saturating_sub(1))
        .map(str::len)
        .sum();
    // Up to and with the last byte that was taken.
    let end = (line + error.column()).min(text.len());
    let bytes = text.as_bytes();
    let mut inside: Vec<Inside> = Vec::new();
    let mut at = 0;
    while at < end {
        match bytes[at] {
            b'[' => inside.push(Inside::List(0)),
            b'{' => inside.push(Inside::Object(None)),
            b']' | b'}' => drop(inside.pop()),
            b',' => match inside.last_mut() {
                Some(Inside::List(behind)) => *behind += 1,
                Some(Inside::Object(field)) => *field = None,
                None => {}
            },
            b'"' => {
                let from = at;
                at += 1;
                while at < end && bytes[at] != b'"' {
                    at += if bytes[at] == b'\\' { 2 } else { 1 };
                }
                if let Some(Inside::Object(field @ None)) = inside.last_mut() {
                    *field = text.get(from..=at);
                }
            }
            _ => {}
        }
        at += 1;
    }
    let mut path = String::new();
    for inside in inside {
        match inside {
            Inside::List(behind) => path += &format!("[{behind}]"),
            Inside::Object(Some(field)) => {
                if !path.is_empty() {
                    path.push('.');
                }
                path += &serde_json::from_str::<String>(field).unwrap_or_default();
            }
            Inside::Object(None) => {}
        }
    }
    path
}

/// How deep lists and objects are nested, without reading them.
pub(crate) fn depth(text: &str) -> usize {
    let (mut now, mut most, mut quoted, mut escaped) = (0_usize, 0, false, false);
    for byte in text.bytes() {
        match (quoted, byte) {
            (true, _) if escaped => escaped = false,
            (true, b'\\') => escaped = true,
            (_, b'"') => quoted = !quoted,
            (false, b'[' | b'{') => {
                now += 1;
                most = most.max(now);
            }
            (false, b']' | b'}') => now = now.saturating_sub(1),
            _ => {}
        }
    }
    most
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn depth_counts_lists_and_objects_outside_texts() {
        for (text, deep) in [
            ("", 0),
            ("3", 0),
            ("[]", 1),
            ("{\"a\": [[1], {}]}", 3),
            ("[\"[[[[\", \"\\\"[[\", \"\\\\\", [2]]", 2),
            ("]]]][", 1),
        ] {
            assert_eq!(depth(text), deep, "{text}");
        }
        assert_eq!(depth(&"[".repeat(1_000_000)), 1_000_000);
    }

    #[derive(Debug, Deserialize)]
    #[allow(dead_code)]
    struct Inner {
        #[serde(rename = "a \" b")]
        quoted: u8,
        pair: [f64; 2],
        #[serde(default)]
        kind: Option<Shape>,
    }

    #[derive(Debug, Deserialize)]
    #[serde(rename_all = "lowercase")]
    #[allow(dead_code)]
    enum Shape {
        Round,
        Square,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    #[allow(dead_code)]
    struct Outer {
        name: String,
        list: Vec<Inner>,
        table: std::collections::BTreeMap<String, Vec<u8>>,
    }

    const GOOD: &str = r#"{"name": "ä, \"[{", "list": [
        {"a \" b": 1, "pair": [1, 2.5], "other": {"x": [{}]}},
        {"a \" b": 2, "pair": [3, -4], "kind": "round"}],
        "table": {"k,": [], "l]": [1, 2, 3]}}"#;

    /// Where both readers of paths stop, or `None` where the text can be read.
    fn paths(text: &str) -> Option<[String; 2]> {
        serde_json::from_str::<IgnoredAny>(text).ok()?;
        let ours = path(text, &serde_json::from_str::<Outer>(text).err()?);
        let theirs = serde_path_to_error::deserialize::<_, Outer>(
            &mut serde_json::Deserializer::from_str(text),
        )
        .unwrap_err();
        let theirs = theirs.path().to_string();
        Some([ours, if theirs == "." { String::new() } else { theirs }])
    }

    #[test]
    fn the_field_that_is_wrong_is_named() {
        for (good, wrong, field) in [
            (
                "\"pair\": [3, -4]",
                "\"pair\": [3, \"4\"]",
                "list[1].pair[1]",
            ),
            ("\"pair\": [3, -4]", "\"pair\": [3]", "list[1].pair"),
            ("\"pair\": [3, -4], ", "", "list[1]"),
            ("\"round\"", "\"oval\"", "list[1].kind"),
            ("b\": 2", "b\": \"two\"", "list[1].a \" b"),
            ("[1, 2, 3]", "[1, {\"y\": [2]}, 3]", "table.l][1]"),
            ("[1, 2, 3]", "7", "table.l]"),
            ("\"name\"", "\"mane\"", "mane"),
            ("\"name\": \"ä, \\\"[{\",", "", ""),
        ] {
            let text = GOOD.replacen(good, wrong, 1);
            assert_ne!(text, GOOD);
            let [ours, theirs] = paths(&text).expect(&text);
            assert_eq!(ours, field, "{text}");
            assert_eq!(ours, theirs, "{text}");
        }
        let longer = GOOD.replacen("\"pair\": [3, -4]", "\"pair\": [3, -4, 5]", 1);
        assert_eq!(
            paths(&longer).expect("too long"),
            ["list[1].pair[2]", "list[1].pair"]
        );
        assert!(paths(GOOD).is_none());
    }

    proptest::proptest! {
        /// Bytes of a good file changed at random: wherever it is JSON still, both name the same field.
        #[test]
        fn paths_are_those_of_the_general_reader(
            changes in proptest::collection::vec((0..GOOD.len(), proptest::sample::select(&b"0\"x[]{},:n9."[..])), 1..4)
        ) {
            let mut text = GOOD.as_bytes().to_vec();
            for (at, byte) in changes {
                text[at] = byte;
            }
            if let Some([ours, theirs]) = std::str::from_utf8(&text).ok().and_then(paths) {
                // Of a list that is too long ours names the first that is too many.
                let too_many = ours
                    .strip_prefix(&theirs)
                    .and_then(|rest| rest.strip_prefix('[')?.strip_suffix(']'))
                    .is_some_and(|at| at.parse::<usize>().is_ok());
                proptest::prop_assert!(ours == theirs || too_many, "{ours} {theirs}");
            }
        }
    }
}
