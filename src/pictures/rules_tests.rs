//! Cases of what is taken and what has to be said.

use super::*;

#[test]
fn files_are_told_apart_by_their_first_bytes() {
    let cases: [(&[u8], Result<Format, NotTaken>); 12] = [
        (b"\xff\xd8\xff\xe0", Ok(Format::Jpeg)),
        (b"\x89PNG\r\n\x1a\n", Ok(Format::Png)),
        (b"RIFF\x10\0\0\0WEBPVP8 ", Ok(Format::WebP)),
        (b"\0\0\0\x18ftypheic\0\0", Err(NotTaken::Heic)),
        (b"\0\0\0\x18ftypmif1\0\0", Err(NotTaken::Heic)),
        (
            b"\0\0\0\x18ftypavif\0\0",
            Err(NotTaken::Other("AVIF picture")),
        ),
        (b"\0\0\0\x18ftypmp42\0\0", Err(NotTaken::Other("film"))),
        (b"GIF89a", Err(NotTaken::Other("GIF"))),
        (
            b"<?xml version='1.0'?><svg/>",
            Err(NotTaken::Other("drawing (SVG)")),
        ),
        (b"%PDF-1.7", Err(NotTaken::Other("PDF"))),
        (b"part,quantity\n", Err(NotTaken::Unknown)),
        (b"", Err(NotTaken::None)),
    ];
    for (bytes, expected) in cases {
        assert_eq!(format_of(bytes), expected, "{bytes:?}");
    }
}

#[test]
fn pixels_and_memory_have_limits() {
    let declared = |width, height, each: u64, copies| Declared {
        width,
        height,
        decoded: u64::from(width) * u64::from(height) * each,
        copies,
    };
    assert_eq!(
        fits(declared(8160, 6120, 3, 1)),
        Ok(()),
        "50 million pixels"
    );
    let (width, height) = (60_000, 60_000);
    assert_eq!(
        fits(declared(width, height, 3, 1)),
        Err(NotTaken::TooManyPixels { width, height })
    );
    let (width, height) = (12_001, 1);
    assert_eq!(
        fits(declared(width, height, 3, 1)),
        Err(NotTaken::TooManyPixels { width, height })
    );
    assert_eq!(
        fits(declared(4032, 3024, 3, 3)),
        Ok(()),
        "progressive, 12 million"
    );
    assert_eq!(
        fits(declared(8000, 6000, 3, 3)),
        Err(NotTaken::TooMuchMemory)
    );
    assert_eq!(
        fits(declared(7000, 7000, 8, 1)),
        Err(NotTaken::TooMuchMemory)
    );
}

#[test]
fn a_jpeg_is_whole_when_it_comes_to_its_end_marker() {
    // A comment that holds an end marker of its own, a scan with a stuffed byte and a restart, the end.
    let mut bytes = vec![0xff, 0xd8, 0xff, 0xfe, 0, 4, 0xff, 0xd9];
    bytes.extend([0xff, 0xc2, 0, 3, 0]);
    bytes.extend([0xff, 0xda, 0, 2, 1, 0xff, 0, 2, 0xff, 0xd0, 3]);
    let cut = jpeg_shape(&bytes);
    assert!(cut.is_progressive && !cut.is_whole);
    bytes.extend([0xff, 0xff, 0xd9, 1, 2, 3]);
    assert!(
        jpeg_shape(&bytes).is_whole,
        "what comes after does not count"
    );
    for cut in 0..bytes.len() - 4 {
        assert!(!jpeg_shape(&bytes[..cut]).is_whole, "cut at {cut}");
    }
    assert_eq!(jpeg_shape(&[]), JpegShape::default());
}

#[test]
fn words_and_a_day_are_needed_and_a_layer_may_be_given() {
    let today: Day = "2027-03-04".parse().unwrap();
    let said = |words: &str, taken_on: &str, layer: &str| Said {
        words: words.into(),
        taken_on: taken_on.into(),
        layer: layer.into(),
    };
    assert_eq!(
        caption(&said(" Lamps,\n on  end ", "2027-03-04", " 2 "), today),
        Ok(Caption {
            words: "Lamps, on end".into(),
            taken_on: today,
            layer: Some(2)
        })
    );
    assert_eq!(
        caption(&said(" ", "2027-03-05", "0"), today),
        Err(vec![
            ("words", Refused::NoWords),
            ("taken_on", Refused::Future),
            ("layer", Refused::NoLayer)
        ])
    );
    assert_eq!(
        caption(&said(&"x".repeat(301), "soon", "top"), today),
        Err(vec![
            ("words", Refused::ManyWords),
            ("taken_on", Refused::NoDay),
            ("layer", Refused::NoLayer)
        ])
    );
}
