//! Any bytes as an ICC profile.
#![no_main]

use libfuzzer_sys::fuzz_target;
use twoground::scan::profile::Profile;

fuzz_target!(|bytes: &[u8]| {
    if let Ok(profile) = Profile::from_icc(bytes) {
        for encoded in [[0.0; 3], [1.0; 3], [0.2, 0.5, 0.8]] {
            let additive = profile.additive(encoded);
            let xyz = profile.xyz(additive);
            assert!(additive.iter().all(|v| v.is_finite()));
            assert!(xyz.x.is_finite() && xyz.y.is_finite() && xyz.z.is_finite());
        }
    }
});
