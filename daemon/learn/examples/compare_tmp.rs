#[path = "calibration/own_prior.rs"]
mod own_prior;
fn main() {
    for seed in 0..8u64 {
        let m = own_prior::model();
        let shop = own_prior::Shop::draw(&m, 500, 77 + seed);
        shop.compare(&m);
    }
}
