#[path = "finish/stage.rs"]
mod stage;
use imaging::finish::*;
use stage::*;
fn gray(name: &str, c: &Cutout) {
    let rgb: Vec<u8> = c.alpha().iter().flat_map(|v| [*v; 3]).collect();
    std::fs::write(format!("/tmp/rs2/fin/{name}.png"), stage::png(&rgb, c.size_px())).unwrap();
}
#[test]
fn dbg() {
    let f = Fault { axis_off_px: 37.0, lean_deg: 1.5, exposure_ev: 0.0, cast: [0.93, 0.985, 1.07] };
    let set: Vec<Vec<u8>> = (0..12)
        .map(|i| {
            let exposure_ev = [0.0, 0.3, -0.3, 0.0, -0.3, 0.3][i % 6];
            draw(i as f64 * 30.0, Thing::Jug, &Fault { exposure_ev, ..f }).png
        })
        .collect();
    let plate = draw(0.0, Thing::Empty, &f).png;
    let s = FinishSettings { sharpen_percent: 0.0, ..Default::default() };
    let g: Vec<_> = set.iter().map(|p| glance(p).unwrap()).collect();
    let l = plan_light(&(1..13).collect::<Vec<_>>(), &g, Some(&glance(&plate).unwrap()), &s).unwrap();
    println!("{l:?}");
    let small = plate_for_sweep(&plate, l.plate_gain).unwrap();
    for i in 0..12 {
        let mut p = load_reduced(&set[i], 900).unwrap().picture;
        p.gain(l.gains[i]);
        match Cutout::find(&p, Some(&small)) {
            Ok(c) => gray(&format!("pj{i}"), &c),
            Err(e) => println!("pj{i} {e}"),
        }
    }
    let sw: Vec<_> = (0..12).filter_map(|i| sweep(&set[i], l.gains[i], Some(&small)).ok()).collect();
    let plan =
        plan_place((1200, 900), &sw, Some(Axis { column_px: 637.0, lean_deg: 1.5 }), l.clone(), &s).unwrap();
    println!("{:?}", plan.placement);
    let t = Target::native(&plan.placement);
    let placed = place_plate(&plate, &plan, t).unwrap();
    for i in [0, 1, 3] {
        for (n, pl) in [("p", Some(&placed)), ("n", None)] {
            match finish_frame(&set[i], &plan, i, pl, &s, t) {
                Ok(d) => {
                    std::fs::write(
                        format!("/tmp/rs2/fin/f{n}{i}.png"),
                        stage::png(d.picture.rgb(), (t.width_px, t.height_px)),
                    )
                    .unwrap();
                    gray(&format!("a{n}{i}"), d.cutout.as_ref().unwrap());
                }
                Err(e) => println!("f{n}{i} {e}"),
            }
        }
    }
    let view = imaging::scene::SceneView { width_px: 1200, height_px: 900, ..Default::default() };
    let studio = imaging::scene::Studio::new(view).unwrap();
    for k in [0, 5, 9] {
        let p = studio
            .render_rgb(&imaging::scene::Pose::at_rest(k as f64 * 20.0, 1), &Default::default())
            .unwrap();
        let p = load_reduced(&stage::png(p.rgb(), (1200, 900)), 900).unwrap().picture;
        println!("scene {k}");
        match Cutout::find(&p, None) {
            Ok(c) => gray(&format!("sc{k}"), &c),
            Err(e) => println!("sc{k} {e}"),
        }
    }
}
