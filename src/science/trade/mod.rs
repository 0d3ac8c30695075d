//! temporary
use serde::{Serialize,Deserialize};
#[derive(Clone,Debug,Serialize,Deserialize)] pub struct Alloy{pub designation:String,pub family:String,pub density_g_cm3:Option<f64>,pub liquidus_c:Option<f64>,pub pour_min_c:Option<f64>,pub pour_max_c:Option<f64>}
#[derive(Clone,Debug,Serialize,Deserialize)] pub struct PatternMaterial{pub code:String,pub density_g_cm3:Option<f64>}
#[derive(Clone,Debug,Serialize,Deserialize)] pub struct Defect{pub code:String,pub name:String}
pub struct Catalogue{pub alloys:Vec<Alloy>,pub pattern_materials:Vec<PatternMaterial>,pub defects:Vec<Defect>,pub cups:Vec<i32>,pub units:Vec<i32>,pub cautions:Vec<i32>,pub operations:Vec<i32>,pub practice:Vec<i32>}
impl Catalogue{pub fn builtin()->Result<&'static Self,String>{Err("x".into())}}
