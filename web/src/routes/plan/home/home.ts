// Answers of the calculations "home" and "priming".
export interface Level { key: string; title: string; low_ppb: number; high_ppb: number; pickup_low_ppb: number; pickup_high_ppb: number; cycles?: number; steps: string[] }
export interface Home { package: string; all_air_ppb: number; per_ml_ppb: number; cycle_factor: number; levels: Level[]; says: string; advice: string[]; cautions: { code: string; text: string }[] }
export interface Priming { residual_vol: number; final_vol: number; sugars: { name: string; g_l: number; total_g: number }[]; gauge_20c_bar: number; gauge_warm_bar: number; warm_c: number; usual_limit_vol: number; cautions: { code: string; text: string }[] }
