//! A sheet of point paper drawn as a scanner would see it, by nothing of the
//! product: each pixel is the mean of several rays, each traced back through the
//! turn, the scale and a lens's bend to the paper. Then light falls, the optics
//! blur and the sensor adds noise.

#![allow(dead_code, reason = "each test file uses part of it")]

use cardwright::paper::{How, Picture, Sheet, squares};

/// Chance with a seed: splitmix64 (Steele, Lea and Flood 2014).
pub struct Chance(pub u64);

impl Chance {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 to 1.
    pub fn part(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.part()
    }

    pub fn below(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }

    /// Normal, by the sum of twelve.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.part()).sum::<f64>() - 6.0
    }
}

pub type Colour = [u8; 3];

pub const PAPER: Colour = [252, 250, 244];
pub const BLACK: Colour = [28, 26, 30];
pub const RED: Colour = [198, 44, 40];
pub const BLUE: Colour = [40, 70, 160];
pub const YELLOW: Colour = [240, 205, 60];
pub const GREEN: Colour = [60, 140, 70];

/// A square of which the left part has another colour.
#[derive(Clone, Copy, Debug)]
pub struct Half {
    pub column: usize,
    pub row: usize,
    pub other: usize,
    pub part: f64,
}

#[derive(Clone, Debug)]
pub struct Drawn {
    pub columns: usize,
    pub rows: usize,
    /// Colour of each square, line by line from the top.
    pub design: Vec<usize>,
    pub palette: Vec<Colour>,
    /// Pixels a square.
    pub pitch: [f64; 2],
    /// Squares from heavy line to heavy line.
    pub group: [usize; 2],
    /// Pixels.
    pub thin: f64,
    pub heavy: f64,
    pub ink: Colour,
    /// Pixels by which lines go on beyond those that end them.
    pub too_far: f64,
    /// Of thin lines, where it is another.
    pub thin_ink: Option<Colour>,
    /// Whether paint hides thin lines.
    pub painted_over: bool,
    /// Clockwise.
    pub skew_degrees: f64,
    /// Bare paper left, above, right and below, in pixels.
    pub margin: [f64; 4],
    /// How much darker the darkest edge is, of the whole.
    pub gradient: f64,
    /// How much darker the corners are besides.
    pub vignette: f64,
    /// Pixels by which a lens moves the corners outwards.
    pub bend: f64,
    /// Standard deviations, in pixels and levels.
    pub blur: f64,
    pub noise: f64,
    pub halves: Vec<Half>,
    /// Rays a pixel each way.
    pub rays: usize,
    pub seed: u64,
}

impl Drawn {
    /// A clean sheet with a random design.
    pub fn random(columns: usize, rows: usize, palette: &[Colour], seed: u64) -> Drawn {
        let mut chance = Chance(seed);
        Drawn {
            columns,
            rows,
            design: design(columns, rows, palette.len(), &mut chance),
            palette: palette.to_vec(),
            pitch: [10.0; 2],
            group: [8, 8],
            thin: 1.2,
            heavy: 2.6,
            ink: [120, 150, 140],
            too_far: 0.0,
            thin_ink: None,
            painted_over: true,
            skew_degrees: 0.0,
            margin: [40.0; 4],
            gradient: 0.0,
            vignette: 0.0,
            bend: 0.0,
            blur: 0.6,
            noise: 0.0,
            halves: Vec::new(),
            rays: 3,
            seed,
        }
    }

    fn size(&self) -> [usize; 2] {
        let (sine, cosine) = self.skew_degrees.to_radians().sin_cos();
        let [across, down] = self.sheet();
        let width = across * cosine.abs() + down * sine.abs() + self.margin[0] + self.margin[2];
        let height = down * cosine.abs() + across * sine.abs() + self.margin[1] + self.margin[3];
        [width.round() as usize, height.round() as usize]
    }

    fn sheet(&self) -> [f64; 2] {
        [
            self.columns as f64 * self.pitch[0],
            self.rows as f64 * self.pitch[1],
        ]
    }

    /// Where on the sheet a place of the picture is, in squares.
    fn traced(&self, x: f64, y: f64, [width, height]: [usize; 2]) -> [f64; 2] {
        let (mut right, mut down) = (x - width as f64 / 2.0, y - height as f64 / 2.0);
        let corner = (width as f64 / 2.0).hypot(height as f64 / 2.0);
        let far = right.hypot(down) / corner;
        let drawn_in = 1.0 - self.bend / corner * far * far;
        right *= drawn_in;
        down *= drawn_in;
        right -= (self.margin[0] - self.margin[2]) / 2.0;
        down -= (self.margin[1] - self.margin[3]) / 2.0;
        let (sine, cosine) = self.skew_degrees.to_radians().sin_cos();
        let [across, along] = self.sheet();
        [
            (right * cosine + down * sine + across / 2.0) / self.pitch[0],
            (down * cosine - right * sine + along / 2.0) / self.pitch[1],
        ]
    }

    /// The colour of the paper at a place, in squares.
    fn ray(&self, at: [f64; 2]) -> Colour {
        let counts = [self.columns, self.rows];
        let mut line = false;
        let mut heavy = false;
        for way in 0..2 {
            let nearest = at[way].round();
            let off = (at[way] - nearest).abs() * self.pitch[way];
            let other = 1 - way;
            let beyond = at[other].clamp(0.0, counts[other] as f64) - at[other];
            let exists = (0.0..=counts[way] as f64).contains(&nearest)
                && beyond.abs() * self.pitch[other] <= self.thin / 2.0 + self.too_far;
            if exists {
                line |= off <= self.thin / 2.0;
                heavy |=
                    (nearest as usize).is_multiple_of(self.group[way]) && off <= self.heavy / 2.0;
            }
        }
        let [column, row] = at.map(f64::floor);
        let inside =
            column >= 0.0 && row >= 0.0 && column < self.columns as f64 && row < self.rows as f64;
        let mut colour = 0;
        if inside {
            let (column, row) = (column as usize, row as usize);
            colour = self.design[row * self.columns + column];
            for half in &self.halves {
                if (half.column, half.row) == (column, row) && at[0].fract() < half.part {
                    colour = half.other;
                }
            }
        }
        if heavy {
            self.ink
        } else if line && (colour == 0 || !self.painted_over) {
            self.thin_ink.unwrap_or(self.ink)
        } else {
            self.palette[colour]
        }
    }

    /// The picture.
    pub fn picture(&self) -> Picture {
        let size @ [width, height] = self.size();
        let mut planes = vec![[0.0f32; 3]; width * height];
        let rays = self.rays as f64;
        for (at, pixel) in planes.iter_mut().enumerate() {
            let (x, y) = ((at % width) as f64, (at / width) as f64);
            let mut sum = [0.0; 3];
            for ray in 0..self.rays * self.rays {
                let over = ((ray % self.rays) as f64 + 0.5) / rays;
                let down = ((ray / self.rays) as f64 + 0.5) / rays;
                let colour = self.ray(self.traced(x + over, y + down, size));
                sum = [0, 1, 2].map(|c: usize| sum[c] + f64::from(colour[c]));
            }
            let light = self.light(x / width as f64, y / height as f64);
            *pixel = sum.map(|sum| (sum / rays / rays * light) as f32);
        }
        if self.blur > 0.0 {
            planes = blurred(&planes, width, self.blur);
        }
        let mut chance = Chance(self.seed ^ 0x5eed);
        let noisy = |level: f32, chance: &mut Chance| {
            let noise = if self.noise > 0.0 {
                chance.normal() * self.noise
            } else {
                0.0
            };
            (f64::from(level) + noise).round().clamp(0.0, 255.0) as u8
        };
        let levels = planes
            .iter()
            .flat_map(|pixel| pixel.map(|level| noisy(level, &mut chance)))
            .collect();
        Picture::new(width as u32, height as u32, levels).expect("a picture")
    }

    /// Of the whole light, at a part of the picture's width and height.
    fn light(&self, x: f64, y: f64) -> f64 {
        let far = (x - 0.5).hypot(y - 0.5) / 0.5f64.hypot(0.5);
        let slope = self.gradient * (0.7 * x + 0.3 * (1.0 - y));
        (1.0 - slope) * (1.0 - self.vignette * far.powi(4))
    }

    /// Squares read otherwise than they were painted, and how many of them are
    /// listed as doubtful; the colours are matched by their nearest.
    pub fn wrong(&self, sheet: &Sheet) -> Vec<(u32, u32, bool)> {
        assert_eq!(
            (sheet.columns as usize, sheet.rows as usize),
            (self.columns, self.rows),
            "the outline; {:?}",
            sheet.ruling
        );
        let near = |a: Colour, b: Colour| -> i32 {
            (0..3)
                .map(|c| (i32::from(a[c]) - i32::from(b[c])).pow(2))
                .sum()
        };
        // the paper's white is taken out
        let seen = |colour: Colour| {
            [0, 1, 2].map(|c: usize| {
                (u32::from(colour[c]) * 255 / u32::from(self.palette[0][c])).min(255) as u8
            })
        };
        let drawn: Vec<Colour> = self.palette.iter().map(|colour| seen(*colour)).collect();
        let mut wrong = Vec::new();
        for row in 0..sheet.rows {
            for column in 0..sheet.columns {
                let found = sheet.colour(column, row).expect("a square").0;
                let nearest = (0..drawn.len())
                    .min_by_key(|at| near(drawn[*at], found))
                    .expect("colours");
                let wanted = self.design[row as usize * self.columns + column as usize];
                if nearest != wanted {
                    let doubted = sheet
                        .doubtful
                        .iter()
                        .any(|doubt| (doubt.column, doubt.row) == (column, row));
                    wrong.push((column, row, doubted));
                }
            }
        }
        wrong
    }
}

/// Figures on a ground, as designs are: discs of one colour, stripes, and
/// squares strewn between.
pub fn design(columns: usize, rows: usize, colours: usize, chance: &mut Chance) -> Vec<usize> {
    let mut design = vec![0; columns * rows];
    for _ in 0..(columns * rows / 300).max(1) {
        let (x, y) = (chance.below(columns) as f64, chance.below(rows) as f64);
        let wide = chance.between(1.0, 9.0);
        let colour = chance.below(colours);
        for (at, square) in design.iter_mut().enumerate() {
            let off = (at % columns) as f64 - x;
            if off.hypot((at / columns) as f64 - y) < wide {
                *square = colour;
            }
        }
    }
    for square in &mut design {
        if chance.part() < 0.15 {
            *square = chance.below(colours);
        }
    }
    design
}

fn blurred(planes: &[[f32; 3]], width: usize, sigma: f64) -> Vec<[f32; 3]> {
    let reach = (3.0 * sigma).ceil() as isize;
    let kernel: Vec<f32> = (-reach..=reach)
        .map(|off| (-0.5 * (off as f64 / sigma).powi(2)).exp() as f32)
        .collect();
    let whole: f32 = kernel.iter().sum();
    let height = planes.len() / width;
    let pass = |from: &[[f32; 3]], along: bool| -> Vec<[f32; 3]> {
        (0..from.len())
            .map(|at| {
                let (x, y) = ((at % width) as isize, (at / width) as isize);
                let mut sum = [0.0; 3];
                for (share, off) in kernel.iter().zip(-reach..=reach) {
                    let (x, y) = if along {
                        ((x + off).clamp(0, width as isize - 1), y)
                    } else {
                        (x, (y + off).clamp(0, height as isize - 1))
                    };
                    let pixel = from[y as usize * width + x as usize];
                    sum = [0, 1, 2].map(|c: usize| sum[c] + share / whole * pixel[c]);
                }
                sum
            })
            .collect()
    };
    pass(&pass(planes, true), false)
}

/// A sheet in which these squares have another colour than the paper.
pub fn sheet(
    (columns, rows): (usize, usize),
    palette: &[Colour],
    colour: impl Fn(usize, usize) -> usize,
) -> Drawn {
    let mut drawn = Drawn::random(columns, rows, palette, 1);
    for (at, square) in drawn.design.iter_mut().enumerate() {
        *square = colour(at % columns, at / columns);
    }
    drawn.noise = 2.0;
    drawn
}

/// Reads the sheet, of which every square must be right and none doubtful.
pub fn read(drawn: &Drawn, told: &str) {
    let sheet = squares(&drawn.picture(), How::Ruled).unwrap_or_else(|e| panic!("{told}: {e}"));
    let size = (sheet.columns as usize, sheet.rows as usize);
    assert_eq!(size, (drawn.columns, drawn.rows), "{told}");
    assert_eq!(drawn.wrong(&sheet), [], "{told}");
    assert!(sheet.doubtful.is_empty(), "{told}: {:?}", sheet.doubtful);
}
