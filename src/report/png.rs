//! A figure as PNG, with the fonts of `assets/`, so that the picture does not depend on the machine.

use resvg::{tiny_skia, usvg};
use std::sync::Arc;
use thiserror::Error;

const REGULAR: &[u8] = include_bytes!("assets/OpenSans-Regular.ttf");
const SEMIBOLD: &[u8] = include_bytes!("assets/OpenSans-Semibold.ttf");
/// Pixels per px of the drawing: 2 gives 192 dots per inch, enough for print.
pub const PIXELS_PER_PX: f32 = 2.0;

#[derive(Debug, Error)]
pub enum PngError {
    #[error("the drawing could not be read back: {0}")]
    Drawing(#[from] usvg::Error),
    #[error("a picture of {width} x {height} pixels is more than this machine can hold")]
    Size { width: u32, height: u32 },
    #[error("the PNG could not be written: {0}")]
    Encoding(String),
}

/// Pixels of an SVG drawing made by `draw`.
pub fn png(svg: &str) -> Result<Vec<u8>, PngError> {
    let mut fonts = usvg::fontdb::Database::new();
    for font in [REGULAR, SEMIBOLD] {
        fonts.load_font_data(font.to_vec());
    }
    fonts.set_sans_serif_family("Open Sans");
    let options =
        usvg::Options { font_family: "Open Sans".into(), fontdb: Arc::new(fonts), ..Default::default() };
    let tree = usvg::Tree::from_str(svg, &options)?;
    let (width, height) = (
        (tree.size().width() * PIXELS_PER_PX).ceil() as u32,
        (tree.size().height() * PIXELS_PER_PX).ceil() as u32,
    );
    let mut pixels = tiny_skia::Pixmap::new(width, height).ok_or(PngError::Size { width, height })?;
    let scale = tiny_skia::Transform::from_scale(PIXELS_PER_PX, PIXELS_PER_PX);
    resvg::render(&tree, scale, &mut pixels.as_mut());
    pixels.encode_png().map_err(|e| PngError::Encoding(e.to_string()))
}

#[cfg(test)]
mod tests {
    use crate::report::draw::{Dress, draw};
    use crate::report::sample;

    #[test]
    fn every_sample_figure_becomes_the_same_png_twice() {
        for figure in sample::figures() {
            let svg = draw(&figure, Dress::Whole);
            let first = super::png(&svg).unwrap();
            assert!(first.starts_with(b"\x89PNG") && first.len() > 4000, "{}", figure.key);
            assert_eq!(first, super::png(&svg).unwrap());
            sample::keep(&figure);
        }
    }
}
