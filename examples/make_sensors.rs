//! Remakes `src/fit/sensors.bin`, how scanners' sensors differ from the eye: `cargo run --release --example make_sensors`.

fn main() -> std::io::Result<()> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/src/fit/sensors.bin");
    std::fs::write(path, twoground::simulate::sensors::make())
}
