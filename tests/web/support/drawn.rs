//! Pictures drawn by the tests themselves, good ones and bad ones.

use std::io::Cursor;

use image::{DynamicImage, ImageFormat, Rgb, RgbImage};

/// Stands in the marks of a camera, and must stand nowhere in what is kept.
pub const MARKER: &[u8] = b"KESTREL-SEVEN-0042";

pub const RED: [u8; 3] = [200, 40, 40];
pub const GREEN: [u8; 3] = [40, 160, 60];
pub const BLUE: [u8; 3] = [40, 60, 200];
pub const YELLOW: [u8; 3] = [230, 210, 60];

/// Four quarters: red and green above, blue and yellow below.
pub fn quarters(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| {
        Rgb(match (x < width / 2, y < height / 2) {
            (true, true) => RED,
            (false, true) => GREEN,
            (true, false) => BLUE,
            (false, false) => YELLOW,
        })
    })
}

pub fn encoded(picture: impl Into<DynamicImage>, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.into().write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

/// Dots of every grey without a pattern, as a JPEG: as large as a picture of its size can be.
pub fn noise(width: u32, height: u32) -> Vec<u8> {
    let mut state = 1_u32;
    let dots = RgbImage::from_fn(width, height, |_, _| {
        // Numerical Recipes' linear congruential generator, from memory; any would do.
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        Rgb([(state >> 24) as u8; 3])
    });
    encoded(dots, ImageFormat::Jpeg)
}

pub fn jpeg(width: u32, height: u32) -> Vec<u8> {
    encoded(quarters(width, height), ImageFormat::Jpeg)
}

/// A picture as a camera held in one of eight ways stores it (CIPA DC-008, Exif 2.32, tag 0x0112: the side
/// of the scene that the first row shows, and the one that the first column shows).
pub fn held(upright: &RgbImage, orientation: u16) -> RgbImage {
    let (width, height) = upright.dimensions();
    let (right, bottom) = (width - 1, height - 1);
    let (w, h) = if orientation > 4 {
        (height, width)
    } else {
        (width, height)
    };
    RgbImage::from_fn(w, h, |x, y| {
        let (u, v) = match orientation {
            1 => (x, y),
            2 => (right - x, y),
            3 => (right - x, bottom - y),
            4 => (x, bottom - y),
            5 => (y, x),
            6 => (right - y, x),
            7 => (right - y, bottom - x),
            8 => (y, bottom - x),
            _ => panic!("there are eight"),
        };
        *upright.get_pixel(u, v)
    })
}

/// The same JPEG with what a camera writes into it: how it was held, its maker and number, and where.
pub fn with_marks(jpeg: &[u8], orientation: u16) -> Vec<u8> {
    let mut tiff = b"MM\0*\0\0\0\x08".to_vec();
    let entry = |tag: u16, kind: u16, count: u32, value: u32| {
        let mut bytes = tag.to_be_bytes().to_vec();
        bytes.extend(kind.to_be_bytes());
        bytes.extend(count.to_be_bytes());
        bytes.extend(value.to_be_bytes());
        bytes
    };
    // Four entries end at 8 + 2 + 48 + 4; the marker follows, then the directory of the position.
    let marker_at = 62;
    let place_at = marker_at + MARKER.len() as u32 + 2;
    let latitude_at = place_at + 2 + 24 + 4;
    tiff.extend(4u16.to_be_bytes());
    tiff.extend(entry(0x010f, 2, MARKER.len() as u32 + 1, marker_at));
    tiff.extend(entry(0x0112, 3, 1, u32::from(orientation) << 16));
    tiff.extend(entry(0x0131, 2, MARKER.len() as u32 + 1, marker_at));
    tiff.extend(entry(0x8825, 4, 1, place_at));
    tiff.extend(0u32.to_be_bytes());
    tiff.extend(MARKER);
    tiff.extend([0, 0]);
    tiff.extend(2u16.to_be_bytes());
    tiff.extend(entry(1, 2, 2, u32::from_be_bytes(*b"N\0\0\0")));
    tiff.extend(entry(2, 5, 3, latitude_at));
    tiff.extend(0u32.to_be_bytes());
    for degrees in [47u32, 16, 9] {
        tiff.extend(degrees.to_be_bytes());
        tiff.extend(1u32.to_be_bytes());
    }
    let mut bytes = jpeg[..2].to_vec();
    for (marker, head, content) in [
        (0xe1, &b"Exif\0\0"[..], tiff.as_slice()),
        (0xe1, b"http://ns.adobe.com/xap/1.0/\0", MARKER),
        (0xfe, b"", MARKER),
    ] {
        bytes.extend([0xff, marker]);
        bytes.extend(((2 + head.len() + content.len()) as u16).to_be_bytes());
        bytes.extend(head);
        bytes.extend(content);
    }
    bytes.extend(&jpeg[2..]);
    bytes
}

/// A PNG of 1 KiB whose header declares any size it likes.
pub fn png_that_declares(width: u32, height: u32) -> Vec<u8> {
    let mut header = b"IHDR".to_vec();
    header.extend(width.to_be_bytes());
    header.extend(height.to_be_bytes());
    header.extend([8, 6, 0, 0, 0]);
    let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\x0d".to_vec();
    bytes.extend(&header);
    bytes.extend(crc(&header).to_be_bytes());
    let mut pixels = b"IDAT".to_vec();
    pixels.resize(4 + 900, 0);
    bytes.extend(900u32.to_be_bytes());
    bytes.extend(&pixels);
    bytes.extend(crc(&pixels).to_be_bytes());
    bytes.resize(1024, 0);
    bytes
}

/// The check sum of a PNG's chunk (W3C, Portable Network Graphics, annex D).
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            (crc >> 1) ^ (0xedb8_8320 * (crc & 1))
        })
    })
}

/// The kinds of segment in a JPEG, up to its pixels: the second byte of each marker.
pub fn segments(jpeg: &[u8]) -> Vec<u8> {
    let mut found = Vec::new();
    let mut at = 2;
    while jpeg[at] == 0xff && jpeg[at + 1] != 0xda {
        found.push(jpeg[at + 1]);
        at += 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
    }
    found
}

/// Fails the test unless a JPEG holds pixels and nothing else: the plain header (JFIF, ITU-T T.871),
/// tables and one frame.
#[track_caller]
pub fn assert_only_pixels(jpeg: &[u8]) {
    for kind in segments(jpeg) {
        assert!(
            matches!(kind, 0xe0 | 0xdb | 0xc0 | 0xc4),
            "a segment {kind:#x} in what is kept"
        );
    }
    assert!(jpeg.ends_with(&[0xff, 0xd9]), "nothing behind the picture");
    assert!(!holds(jpeg, MARKER) && !holds(jpeg, b"Exif"));
}

pub fn holds(bytes: &[u8], what: &[u8]) -> bool {
    bytes.windows(what.len()).any(|window| window == what)
}
