mod common;
use common::*;
use sensitometry::*;
#[test]
fn gomp() {
    let c = |x: f64| 0.25 + 2.2*(1.0 - (-((x+0.5)/0.45).exp()).exp());
    for k in 0..4 {
        let mut noise = Noise::starting_from(k);
        let r = readings_21(&c, 0.65, 0.01, &mut || 0.01*noise.normal());
        let cv = fit_characteristic_curve(&r, &CurveFitSettings::in_lux_seconds()).unwrap();
        println!("{:?} base {:?} film {:?}", cv.method(), cv.base_plus_fog(), cv.film_curve());
        for f in cv.readings() { print!(" {:.3}{}", f.residual, if f.weight<1.0 {"*"} else {""}); }
        println!();
    }
}
