//! The program: builds and serves the page (`serve`, the default), or does the same reading and predicting without a
//! page (`read`, `glaze`).

mod glaze;
mod package;
mod read;
mod serve;
mod site;

use std::ffi::{OsStr, OsString};
use std::process::ExitCode;

const USAGE: &str = "\
Two Grounds: what a painter's own tubes do in thin films, from scans of drawdown cards.

twoground [serve] [--port N] [--no-open]
    Build the page, serve it on this machine only, print its address and open it.
    --port N     listen on this port (default 4860; 0 takes any free one). Kept paints belong to one
                 address: another port is another, empty shelf.
    --no-open    do not open a browser

twoground read SCAN... [--out DIR] [--films N] [--corners x,y,x,y,x,y,x,y] [--scanner KIND]
    Read scans without a page and write DIR/<scan>-<n>.json, a pigment file for every card found. The paint is
    taken to be dry and glossy and the card sealed. Findings are on standard error. Exit code 1 when a scan
    holds no card that can be read; the others are written.
    --out DIR    folder of the pigment files (default: this one); a file that is there is not written over
    --films N    the number of films on each card, 1 to 6, where it was not found rightly
    --corners    corners of the striped area in pixels of the upright scan, clockwise from the top left
    --scanner K  white-light (most thick flatbeds: a lamp or white LED under filters), three-lights (most thin
                 ones that live on a USB plug), or unknown (the default): what it is narrows the ranges

twoground glaze PIGMENT [PIGMENT ...] --over L,a,b [--over-sd X] [--film X]... [--json]
    Predict films over a colour (CIE Lab, D50), the lowest film first. Several readings of one tube are
    one film: join their files by +, as in blue-1.json+blue-2.json. Those that agree are predicted by
    their mean, in films of the first one's card.
    --over-sd X  how far each of L*, a*, b* of that colour may be off (standard deviation, default 0: exact),
                 as the page has it: 4 judged by eye, 0.5 by an instrument
    --film X     once for every pigment: its build, in units of its card's reference film (default 1)
    --json       print {\"lab\":[L,a,b],\"de00_90\":range,\"verdict\":word,\"notes\":[...]}

twoground site DIR
    Write the page to a folder as plain files, for any web server to serve (over https).

twoground --help | --version
";

/// Why the program stops: told on standard error, and by the exit code.
enum Failure {
    /// The command line makes no sense: exit code 2.
    Usage(String),
    /// The work could not be done: exit code 1.
    Work(twoground::Error),
}

impl From<lexopt::Error> for Failure {
    fn from(error: lexopt::Error) -> Self {
        Self::Usage(error.to_string())
    }
}

impl From<twoground::Error> for Failure {
    fn from(error: twoground::Error) -> Self {
        Self::Work(error)
    }
}

/// What every command gives back: the exit code, unless something stopped it.
type Outcome = Result<ExitCode, Failure>;

fn main() -> ExitCode {
    match run(std::env::args_os().skip(1).collect()) {
        Ok(code) => code,
        Err(Failure::Usage(words)) => {
            eprintln!("{words}. twoground --help shows what can be asked.");
            ExitCode::from(2)
        }
        Err(Failure::Work(error)) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

fn run(mut args: Vec<OsString>) -> Outcome {
    let command = match args.first().and_then(|arg| arg.to_str()) {
        Some(word) if !word.starts_with('-') => Some(word.to_owned()),
        _ => None,
    };
    if command.is_some() {
        args.remove(0);
    }
    if args.iter().any(|arg| arg == "--help" || arg == "-h") {
        return say(USAGE);
    }
    if args.iter().any(|arg| arg == "--version") {
        return say(concat!("Two Grounds ", env!("CARGO_PKG_VERSION"), "\n"));
    }
    let parser = lexopt::Parser::from_args(args);
    match command.as_deref() {
        None | Some("serve") => serve::run(parser),
        Some("read") => read::run(parser),
        Some("glaze") => glaze::run(parser),
        Some("site") => site::run(parser),
        Some(other) => Err(Failure::Usage(format!("There is no command \"{other}\""))),
    }
}

/// Writes to standard output; a reader that went away (`twoground --help | head -1`) is no failure.
fn say(text: &str) -> Outcome {
    use std::io::{ErrorKind, Write};
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(Failure::Work(twoground::Error::Outside {
                what: "Standard output",
                doing: "could not be written",
                reason: error.to_string(),
            }))
        }
        _ => Ok(ExitCode::SUCCESS),
    }
}

/// Exactly N finite numbers with commas between.
fn numbers<const N: usize>(value: &OsStr) -> Option<[f64; N]> {
    let parts = value
        .to_str()?
        .split(',')
        .map(|part| part.trim().parse().ok().filter(|n: &f64| n.is_finite()));
    parts.collect::<Option<Vec<f64>>>()?.try_into().ok()
}
