"""One vessel from a notebook, start to finish. Invented scenario: a bud vase on a silver foot."""

from pathlib import Path

import cofire as cf

vase = cf.read_vessel(Path(__file__).with_name("silver_foot_vessel.toml"))
partners = cf.screen("fine silver", gases="air")
print(partners.loc[partners["verdict"] != "no", ["ceramic", "peak_C", "cooled_mismatch_ppm"]])
pair = cf.mismatch("fine silver", "fritted body", vase.firing)
print(f"{1e6 * pair.cooled:.0f} ppm stored when cold; below 0 the silver is the shorter")
fired = cf.fire(vase)
print(fired.text())  # the verdict, its reasons and the cautions
print(fired.to_frame("bands")[["material", "tension_MPa", "temperature_C", "height_mm"]])
print(cf.sweep(vase, wall_mm=[1.2, 1.8]).drop(columns="note"))
print(cf.job(vase).to_frame("batches"))  # what to weigh
fired.plot().savefig("stress.png")
if __name__ == "__main__":
    print(cf.plan(vase).text())  # graded layers and a firing; some ten minutes on one core
