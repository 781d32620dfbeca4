"""From the syntax tree to Rig and Score.

Every domain value made here carries a `mark`; `Loaded.origins[mark]` gives the place of its
statement and of the parts that a fix may replace. A part is there only if the text wrote it
(`has_part` first: `Origin.part` falls back to the whole statement).

| value | parts |
| --- | --- |
| `Supply` | `name`, `fuse` |
| `Cells` | `cells`, `chemistry`, `rows`, `capacity`, `resistance` |
| `Adapter` | `voltage`, `current` |
| `Regulator` | `voltage`, `current`, `dropout`, `efficiency` |
| `Board` | `name`, `chip`, `address`, `feed` (the whole line) |
| `Wire` | `supply`, `length`, `gauge` |
| `Servo` | `name`, `board`, `pin`, `pulse` (the whole line), `pulse 1`, `angle 1` and so on in the order of the text, `limits`, `pulse low`, `pulse high`, `travel` (the line), `travel low`, `travel high`, `acceleration`, `idling`, `dead band`, `tip`, `safe` (the amount in the safe pose) |
| `Rating` | `speed`, `torque`, `current`, `voltage` |
| `Load` | span: the first `load` line (or the servo's line); `level`, `axis`, `friction` |
| `PointMass` | `mass`, `radius`, `ahead` |
| `Rod` | `mass`, `length`, `from`, `ahead` |
| `Plate` | `mass`, `length`, `width`, `from`, `ahead` |
| `Box` | `mass`, `length`, `width`, `depth`, `from`, `ahead` |
| `Spring` | `rate`, `neutral` |
| `Gear` | `ratio` |
| `LeverPair` | `horn`, `arm` |
| `FourBar` | `ground`, `horn`, `rod`, `arm`, `zero` |
| `Lamp` | `name`, `board`, `pin`, `count`, `voltage`, `current`, `colour`, `safe` |
| `Strip` | `name`, `board`, `pin`, `pixels`, `order`, `current`, `cap`, `safe` |
| `Switch` | `name`, `board`, `pin`, `active`, `current`, `safe` |
| `Input` | `button`, `board`, `pin`, `active` |
| `Wearer` | `tilt`, `region`, `temperature`, `margin` |
| `Move` | `name`, `target` (the amount, in the pose if it came from one), `pace` (`in 300 ms`, `at 90 deg/s`, `as fast as it can`, `within ...`), `duration` (the amount of `in`), `speed` (the amount of `at`), `law` |
| `Fade` | `name`, `target` (the whole light), `colour`, `level`, `pace`, `duration`, `speed`, `law` |
| `Throw` | `name`, `state` |
| `Effect` | `name`, `effect`, `period`, `depth`, `seed`, `width` |
| `Hold` | `duration` |
| `InTurn`, `Together` | `keyword`, `interval` (of `stagger`); span: the header line |
| `Repeat` | `keyword`, `count`, `while held`, `for ever`; span: the header line |
| `Cue` | `name`, `title`, `conflict`; span: the header line |
| `Binding` | `button`, `cue`, `while held` |
| `Usage` | `cue`, `rate` |

What has no mark of its own has a name in `Loaded.places` (name to `Origin`, if written): `show`
(part `title`), `idle` (`cue`), `lost` (`time`, `cue`), `stop` (`button`), `stop time` (`time`),
`run time` (`time`), `safe pose` (`name`; span: the header line), `remote` (the header line).
"""
