//! An invented printer's ICC profile.

/// Places along each ink in the profile's table.
const PLACES: usize = 7;

/// The linear light, with sRGB's primaries, that four inks laid over each other leave, each taking away a part of it.
/// Demo data.
pub fn light_of(inks: [f64; 4]) -> [f64; 3] {
    let black = 1.0 - 0.96 * inks[3];
    [0, 1, 2].map(|c| (1.0 - 0.93 * inks[c]) * (1.0 - 0.1 * inks[(c + 1) % 3]) * black)
}

/// The 16-bit Lab of version 2 profiles (ICC.1:2001-04, 6.5.9 and annex A) of inks.
fn lab_of(inks: [f64; 4]) -> [u16; 3] {
    let light = light_of(inks);
    // sRGB's primaries carried over to D50 (as in ICC.1, annex E).
    let rows = [[0.4361, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]];
    let white = [0.9642, 1.0, 0.8249];
    let xyz = rows.map(|row| (0..3).map(|c| row[c] * light[c]).sum::<f64>());
    // CIE 15: the cube root, straight near black.
    let f = [0, 1, 2].map(|i| {
        let t = xyz[i] / white[i];
        if t > 0.008_856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 }
    });
    let (l, a, b) = (116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2]));
    [l / 100.0 * 65_280.0, (a + 128.0) * 256.0, (b + 128.0) * 256.0].map(|v| v.round() as u16)
}

/// A small printer profile with a table from inks to Lab (lut16Type, ICC.1:2001-04, 6.5.7).
pub fn profile() -> Vec<u8> {
    let fixed = |v: f64| ((v * 65_536.0).round() as i32).to_be_bytes();
    let mut lut = b"mft2\0\0\0\0\x04\x03".to_vec();
    lut.extend([PLACES as u8, 0]);
    for i in 0..9 {
        lut.extend(fixed(if i % 4 == 0 { 1.0 } else { 0.0 }));
    }
    // Curves of two places each: straight.
    lut.extend([0, 2, 0, 2]);
    lut.extend([0, 0, 255, 255].repeat(4));
    let share = |place: usize| place as f64 / (PLACES - 1) as f64;
    for i in 0..PLACES.pow(4) {
        let at = |power: u32| share(i / PLACES.pow(power) % PLACES);
        lut.extend(lab_of([at(3), at(2), at(1), at(0)]).map(u16::to_be_bytes).as_flattened());
    }
    lut.extend([0, 0, 255, 255].repeat(3));
    let words = b"Demo inks\0";
    let mut desc = b"desc\0\0\0\0".to_vec();
    desc.extend((words.len() as u32).to_be_bytes());
    desc.extend(words);
    desc.resize(desc.len() + 78, 0);
    let copyright = [b"text\0\0\0\0".as_slice(), b"No copyright\0"].concat();
    let white = [b"XYZ \0\0\0\0".as_slice(), [0.9642, 1.0, 0.8249].map(fixed).as_flattened()].concat();
    let tags: [(&[u8; 4], Vec<u8>); 4] =
        [(b"desc", desc), (b"cprt", copyright), (b"wtpt", white), (b"A2B0", lut)];
    let mut table = (tags.len() as u32).to_be_bytes().to_vec();
    let mut data = Vec::new();
    for (name, tag) in &tags {
        table.extend(*name);
        table.extend(((128 + 4 + 12 * tags.len() + data.len()) as u32).to_be_bytes());
        table.extend((tag.len() as u32).to_be_bytes());
        data.extend(tag);
        data.resize(data.len().next_multiple_of(4), 0);
    }
    let mut header = vec![0; 128];
    header[..4].copy_from_slice(&((128 + table.len() + data.len()) as u32).to_be_bytes());
    header[8..12].copy_from_slice(&[2, 0x40, 0, 0]);
    header[12..24].copy_from_slice(b"prtrCMYKLab ");
    header[24..36].copy_from_slice([2001_u16, 1, 1, 0, 0, 0].map(u16::to_be_bytes).as_flattened());
    header[36..40].copy_from_slice(b"acsp");
    header[68..80].copy_from_slice([0.9642, 1.0, 0.8249].map(fixed).as_flattened());
    [header, table, data].concat()
}
