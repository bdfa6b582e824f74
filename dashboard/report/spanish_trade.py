"""The words of the trade in Spanish, by their English names.

Names of lesions follow the Spanish edition of the ICAR Claw Health Atlas [from memory of it]; the rest is
[common practice, no source].
"""

from __future__ import annotations

_HOUSED = {
    "freestall": "estabulación libre",
    "tie-stall": "plaza fija",
    "bedded-pack": "cama caliente",
    "pasture": "pasto",
}
_SEASONS = {"winter": "invierno", "spring": "primavera", "summer": "verano", "autumn": "otoño"}

SPANISH_OF_TRADE: dict[str, str] = {
    "any lesion": "alguna lesión",
    "digital dermatitis": "dermatitis digital",
    "interdigital dermatitis": "dermatitis interdigital",
    "interdigital phlegmon": "flemón interdigital",
    "heel horn erosion": "erosión de talones",
    "interdigital hyperplasia": "hiperplasia interdigital",
    "sole ulcer": "úlcera de suela",
    "bulb ulcer": "úlcera de bulbo",
    "toe ulcer": "úlcera de punta",
    "toe necrosis": "necrosis de punta",
    "sole haemorrhage": "hemorragia de suela",
    "white line disease": "enfermedad de línea blanca",
    "double sole": "doble suela",
    "thin sole": "suela fina",
    "horn fissure": "fisura del casco",
    "asymmetric claws": "pezuñas asimétricas",
    "concave dorsal wall": "pared dorsal cóncava",
    "corkscrew claw": "pezuña en tirabuzón",
    "scissor claws": "pezuñas en tijera",
    "swelling of coronet and/or bulb": "inflamación de corona o bulbo",
    "left front": "anterior izquierdo",
    "right front": "anterior derecho",
    "left hind": "posterior izquierdo",
    "right hind": "posterior derecho",
    "outer": "externa",
    "inner": "interna",
    "outer claw": "pezuña externa",
    "inner claw": "pezuña interna",
    "interdigital skin": "piel interdigital",
    "white line at the toe": "línea blanca en la punta",
    "abaxial white line": "línea blanca abaxial",
    "abaxial white line at the wall\N{EN DASH}bulb junction": "línea blanca abaxial en la unión de pared y bulbo",
    "sole\N{EN DASH}bulb junction": "unión de suela y bulbo",
    "apex of the sole": "ápice de la suela",
    "bulb of the heel": "bulbo del talón",
    "wall, front": "pared, delante",
    "wall, side": "pared, costado",
    "skin above the heel and coronet": "piel sobre talón y corona",
    "interdigital cleft at the heel": "hendidura interdigital en el talón",
    "other (11)": "otra (11)",
    "other (12)": "otra (12)",
    "tie stall": "plaza fija",
    "freestall (cubicles)": "estabulación libre con cubículos",
    **_HOUSED,
    **_SEASONS,
    **{f"{home} in {time}": f"{said} en {when}" for home, said in _HOUSED.items() for time, when in _SEASONS.items()},
    "whole-herd": "de todo el rebaño",
    "part-herd": "de parte del rebaño",
    "lame-cow": "por vaca coja",
    "recheck": "de revisión",
    "unknown kind": "de tipo desconocido",
    "scoring": "de puntuación",
}
