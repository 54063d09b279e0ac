use datumtrail_demo::cameras::photos;
fn main() {
    let w: usize = std::env::args().nth(1).and_then(|s| s.parse().ok()).unwrap_or(640);
    let only: Vec<String> = std::env::args().skip(2).collect();
    std::fs::create_dir_all("/tmp/pics").unwrap();
    let all = std::time::Instant::now();
    for (i, p) in photos().iter().enumerate() {
        let name = format!("{:?}", p.motif).split_whitespace().next().unwrap().to_string();
        if !only.is_empty() && !only.iter().any(|o| name == *o) { continue; }
        let t = std::time::Instant::now();
        let j = p.jpeg_of_width(w).unwrap();
        println!("{name} {:?} {} kB", t.elapsed(), j.len() / 1000);
        std::fs::write(format!("/tmp/pics/{i:02}_{name}.jpg"), j).unwrap();
    }
    println!("all {:?}", all.elapsed());
}
