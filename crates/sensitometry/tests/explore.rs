mod common;
use common::*;
use sensitometry::*;
fn show(name: &str, r: &[CurveReading], t: &Truth) {
    let s = CurveFitSettings::in_lux_seconds();
    match fit_characteristic_curve(r, &s) {
        Err(e) => println!("{name}: ERR {e}"),
        Ok(c) => {
            let a = speed_and_contrast(&c);
            println!("{name}: {} resid {:.5} flags {:?} nflag {}", c.method().name(), c.residual_sd(), c.flags().iter().map(|f| f.name()).collect::<Vec<_>>(),
              c.readings().iter().filter(|r| r.flags.contains(quantity::Flag::NoFilmCurve)).count());
            println!("   base {:.4} {:.4} sd {:.4}", t.base, a.base_plus_fog.value().to_density(), a.base_plus_fog.standard_uncertainty());
            match &a.speed_point { Ok(m)=>println!("   logHm {:.4} {:.4} sd {:.4}", t.log_hm, m.value().to_log10(), m.standard_uncertainty()), Err(e)=>println!("   logHm {:.4} {e}", t.log_hm)}
            let g = |n:&str, t: f64, v: &Result<quantity::Measured<Gradient>, Missing>| match v { Ok(m)=>println!("   {n} {:.4} {:.4} sd {:.4}", t, m.value().to_density_per_log_h(), m.standard_uncertainty()), Err(e)=>println!("   {n} {t:.4} {e}")};
            g("g130", t.delta_d/1.3, &a.average_gradient_1_30);
            g("g150", t.g_1_50, &a.average_gradient_1_50);
            g("chord", t.chord, &a.contrast_index_chord);
            g("arcs", t.arcs, &a.contrast_index_arcs.clone().map(|x| x.gradient));
            g("gamma", t.gamma, &a.gamma);
            match &a.fractional_gradient_point { Ok(m)=>println!("   0.3G {:.4} {:.4} sd {:.4}", t.fractional, m.value().to_log10(), m.standard_uncertainty()), Err(e)=>println!("   0.3G {:.4} {e}", t.fractional)}
        }
    }
}
#[test]
fn explore() {
    let cases: Vec<(&str, Box<dyn Fn(f64)->f64>, f64)> = vec![
        ("softtoe_iso", Box::new(closed_form(0.25,0.7,-1.95,0.18,None)), 0.25),
        ("longtoe .35", Box::new(closed_form(0.25,0.7,-1.75,0.35,None)), 0.25),
        ("longtoe .5", Box::new(closed_form(0.25,0.7,-1.55,0.5,None)), 0.25),
        ("longtoe .5 g.6", Box::new(closed_form(0.25,0.6,-1.95,0.5,None)), 0.25),
        ("longtoe .4 g.62", Box::new(closed_form(0.25,0.62,-1.7,0.4,None)), 0.25),
        ("shoulder", Box::new(closed_form(0.25,0.7,-1.95,0.18,Some((0.2,0.25)))), 0.25),
        ("shoulder low", Box::new(closed_form(0.25,0.7,-1.95,0.18,Some((-0.3,0.15)))), 0.25),
        ("highfog", Box::new(closed_form(0.6,0.7,-1.95,0.18,None)), 0.6),
        ("gompertz", Box::new(|x: f64| 0.25 + 2.2*(1.0 - (-((x+0.7)/0.55).exp()).exp())), 0.25),
        ("gompertz rev", Box::new(|x: f64| 0.25 + 2.2*(-(-((x+1.2)/0.7)).exp()).exp()), 0.25),
        ("hill", Box::new(|x: f64| { let h=10f64.powf(x); 0.2+2.4*h.powf(1.1)/(h.powf(1.1)+0.1) }), 0.2),
        ("hill^.6", Box::new(|x: f64| { let h=10f64.powf(x); 0.2+2.4*(h.powf(2.0)/(h.powf(2.0)+0.02)).powf(0.5) }), 0.2),
        ("tanh", Box::new(|x: f64| 0.2+1.0*(1.0+((x+0.9)/0.9).tanh())), 0.2),
        ("piecewise", Box::new(|x: f64| { let (a,w,g)=(-2.1,0.5,0.65); let u=x-a; 0.25 + if u<0.0 {0.0} else if u<w {g*u*u/(2.0*w)} else {g*(u-w/2.0)} }), 0.25),
        ("piecewise sh", Box::new(|x: f64| { let (a,w,g)=(-2.1,0.5,0.65); let u=x-a; let s = |u: f64| if u<0.0 {0.0} else if u<w {g*u*u/(2.0*w)} else {g*(u-w/2.0)}; 0.25 + s(u) - s(u-2.0) }), 0.25),
        ("erf-like", Box::new(|x: f64| 0.25 + 0.7*0.5*((x+1.9) + ((x+1.9).powi(2)+0.09).sqrt())), 0.25),
        ("upsweep", Box::new(|x: f64| 0.25 + 0.14*(((x+2.2).max(0.0)).powf(1.8))), 0.25),
    ];
    for (name, c, base) in &cases {
        let t = truth(&**c, *base, -2.35, 0.65);
        let r = readings_21(&**c, 0.65, 0.0, &mut || 0.0);
        show(name, &r, &t);
    }
}
