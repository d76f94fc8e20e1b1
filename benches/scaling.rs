//! What a step costs as the panel and the plan grow while the changed area stays. Run with `cargo bench --bench scaling`;
//! nothing here is a test.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod common;

use std::{
    fmt::Write as _,
    fs,
    path::{Path, PathBuf},
    time::Duration,
};

use common::process;
const RUNS: usize = 7;
/// The side of the square that comes and goes, px.
const SQUARE: u32 = 128;

fn main() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("scaling");
    fs::create_dir_all(&folder).expect("the folder can be made");
    let plans = [("small", 1024, 1024, 2000), ("double", 2048, 1024, 2000), ("long", 1024, 1024, 20_000)];
    let plans = plans.map(|(name, width, height, steps)| write_plan(&folder, name, width, height, steps));
    let mut measured: [Vec<(Duration, u64)>; 3] = Default::default();
    for run in 0..=RUNS {
        for (plan, measured) in plans.iter().zip(&mut measured) {
            let figures = process::review(plan);
            // The first round only warms the page cache.
            if run > 0 {
                measured.push(figures);
            }
        }
    }
    let [small, double, long] = measured.map(|mut runs| {
        runs.sort();
        (runs[RUNS / 2].0.as_secs_f64() * 1000.0, runs.iter().map(|(_, kilobytes)| *kilobytes).max().unwrap_or(0))
    });
    println!("2000 steps on 1024 x 1024 px: {:.0} ms, {} MB", small.0, small.1 / 1024);
    println!("twice the panel: {:.2} times the time, {} MB", double.0 / small.0, double.1 / 1024);
    println!("ten times the steps: {:.2} times the time, {} MB", long.0 / small.0, long.1 / 1024);
}

fn write_plan(folder: &Path, name: &str, width: u32, height: u32, steps: u32) -> PathBuf {
    let picture = |file: &str, square: u8| {
        let mut pixels = vec![255; (width * height) as usize];
        for y in 64..64 + SQUARE {
            pixels[(y * width + 64) as usize..][..SQUARE as usize].fill(square);
        }
        let file = fs::File::create(folder.join(file)).expect("the picture can be written");
        let mut encoder = png::Encoder::new(std::io::BufWriter::new(file), width, height);
        encoder.set_color(png::ColorType::Grayscale);
        let mut writer = encoder.write_header().expect("the header can be written");
        writer.write_image_data(&pixels).expect("the picture can be written");
    };
    picture(&format!("{name}-white.png"), 255);
    picture(&format!("{name}-black.png"), 0);
    let display = format!(
        "{{ \"format\": \"display/1\", \"based_on\": \"tablet-10in3\", \"name\": \"{name}\", \"size_px\": [{width}, {height}] }}"
    );
    fs::write(folder.join(format!("{name}.display.json")), display).expect("the description can be written");
    let mut plan = format!(
        "{{ \"format\": \"refresh-plan/1\", \"display\": \"{name}.display.json\", \"begins\": \"white\", \"steps\": [{{ \"repeat\": {}, \"steps\": [",
        steps / 2
    );
    for shade in ["black", "white"] {
        let _ = write!(
            plan,
            "{{ \"screen\": \"{name}-{shade}.png\", \"after_ms\": 3000, \"updates\": [{{ \"mode\": \"quick\", \"window\": \"changed\" }}] }},"
        );
    }
    plan.push_str("] }] }");
    let path = folder.join(format!("{name}.plan.json"));
    fs::write(&path, plan).expect("the plan can be written");
    path
}
