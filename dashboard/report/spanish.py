"""What the report says, in Spanish, by its English template."""

from __future__ import annotations

from dashboard.report.spanish_columns import SPANISH_OF_COLUMNS
from dashboard.report.spanish_measures import SPANISH_OF_MEASURES
from dashboard.report.spanish_trade import SPANISH_OF_TRADE

_OWN: dict[str, str] = {
    "({points} points, {low} to {high})": "({points} puntos, de {low} a {high})",
    "Among the {n} farms on record, cows with any lesion in the period: {share} here; allowing for luck and size "
    "{shrunken} ({low}); place {rank} from the lowest, anywhere from {rank_low} to {rank_high}.": (
        "Entre las {n} explotaciones registradas, vacas con alguna lesión en el periodo: {share} aquí; descontando el "
        "azar y el tamaño, {shrunken} ({low}); puesto {rank} desde el más bajo, entre el {rank_low} y el {rank_high}."
    ),
    "As of {day}. A cow may stand under several reasons.": (
        "A fecha de {day}. Una vaca puede figurar bajo varios motivos."
    ),
    "At the whole-herd visit of {dates}, {cases} of {n} cows had a lesion: {share}.": (
        "En la visita a todo el rebaño del {dates}, {cases} de {n} vacas tenían alguna lesión: {share}."
    ),
    "Beside other herds": "Junto a otros rebaños",
    "Block due off": "Toca retirar el taco",
    "Block on for too long: forgotten?": "Taco puesto demasiado tiempo: ¿olvidado?",
    "Changes": "Cambios",
    "Claws": "Pezuñas",
    "Claws with a lesion": "Pezuñas con lesión",
    "Clearly different from {visit}: {what}.": "Claramente distinto de {visit}: {what}.",
    "Control chart of the share of scorings lame from {first} to {last}; months with a signal: {n}.": (
        "Gráfico de control de la proporción de puntuaciones cojas de {first} a {last}; meses con señal: {n}."
    ),
    "Cost": "Coste",
    "Cost a case, {currency}": "Coste por caso, {currency}",
    "Cost in the period": "Coste en el periodo",
    "Cows": "Vacas",
    "Cows for the veterinarian: {vet}; to recheck: {recheck}; in the herd and never trimmed: {never}.": (
        "Vacas para el veterinario: {vet}; para revisar: {recheck}; en el rebaño y nunca recortadas: {never}."
    ),
    "Cows that need someone": "Vacas que necesitan a alguien",
    "Cows with": "Vacas con",
    "Cows with any lesion": "Vacas con alguna lesión",
    "Deep or spreading infection recorded": "Infección profunda o extensa registrada",
    "Difference in toe length between the claws of a foot": "Diferencia de longitud entre las pezuñas de un pie",
    "Dots are shares of cows, bars their {level} intervals.": (
        "Los puntos son proporciones de vacas; las barras, sus intervalos del {level}."
    ),
    "Feet": "Pies",
    "Foot report, {farm}": "Informe de pezuñas, {farm}",
    "For the veterinarian": "Para el veterinario",
    "For whom": "Para quién",
    "Heel depth": "Altura de talón",
    "Horn": "Casco",
    "Horn and shedding": "Casco y muda",
    "Horn, lengths in {unit}": "Casco, longitudes en {unit}",
    "In short": "En resumen",
    "In {month}, {lame} of {scored} scorings were lame, {share}, and {severe} severely lame, {severe_share}.": (
        "En {month}, {lame} de {scored} puntuaciones eran de cojera, {share}, y {severe} de cojera grave, "
        "{severe_share}."
    ),
    "In {month}, {lame} of {scored} scorings were lame: {share}.": (
        "En {month}, {lame} de {scored} puntuaciones eran de cojera: {share}."
    ),
    "Inner front claws": "Pezuñas internas anteriores",
    "Inner hind claws": "Pezuñas internas posteriores",
    "Lame": "Cojas",
    "Lame when last scored, not looked at since": "Coja en la última puntuación, no revisada desde entonces",
    "Lameness": "Cojera",
    "Last visit": "Última visita",
    "Lesion": "Lesión",
    "Lesions from {since} to {until}": "Lesiones del {since} al {until}",
    "Lesions in the period": "Lesiones en el periodo",
    "Lesions were clearly fewer after it": "Después hubo claramente menos lesiones",
    "Lesions were clearly more after it": "Después hubo claramente más lesiones",
    "Line of the share of scorings lame from {first} to {last}: between {low} and {high}, at the end {end}.": (
        "Línea de la proporción de puntuaciones de cojera de {first} a {last}: entre {low} y {high}, al final {end}."
    ),
    "Locomotion": "Locomoción",
    "Long toes": "Puntas largas",
    "Mean or share": "Media o proporción",
    "Measured claws speak of the cows measured. Limits are starting points for a mature cow, never a verdict: how "
    "much horn comes off is decided at the foot.": (
        "Las pezuñas medidas hablan de las vacas medidas. Los límites son puntos de partida para una vaca adulta, "
        "nunca un veredicto: cuánto casco se quita se decide ante el pie."
    ),
    "Method, records and cautions": "Método, registros y cautelas",
    "Month": "Mes",
    "Most often found: {what}.": "Lo más frecuente: {what}.",
    "Never trimmed": "Nunca recortadas",
    "New cases": "Casos nuevos",
    "No change on the farm is recorded.": "No consta ningún cambio en la explotación.",
    "No cow is due or needs someone, as far as the records say.": (
        "Según los registros, ninguna vaca está pendiente ni necesita a nadie."
    ),
    "No difference between before and after can be told from chance": (
        "Ninguna diferencia entre antes y después se distingue del azar"
    ),
    "No horn was measured in this period.": "No se midió el casco en este periodo.",
    "No lesion was recorded in this period.": "No se registró ninguna lesión en este periodo.",
    "No locomotion was scored in this period.": "No se puntuó la locomoción en este periodo.",
    "No new case with a price was recorded in this period.": (
        "No se registró ningún caso nuevo con precio en este periodo."
    ),
    "No trims were recorded in this period.": "No se registraron recortes en este periodo.",
    "No whole-herd visit is among them: these figures rest on all kinds of visits and overstate how common lesions "
    "are in the herd.": (
        "Entre ellas no hay ninguna visita a todo el rebaño: las cifras se apoyan en visitas de todo tipo y exageran "
        "lo frecuentes que son las lesiones en el rebaño."
    ),
    "Not enough months with records to say whether a month is unlike the others.": (
        "No hay bastantes meses con registros para decir si un mes es distinto de los demás."
    ),
    "Not enough records before and after it to say what it went together with.": (
        "No hay bastantes registros antes y después para decir con qué coincidió."
    ),
    "Nothing differs clearly from {visit}.": "Nada difiere claramente de {visit}.",
    "Other things change in the same months: this is what went together, not what caused it.": (
        "En los mismos meses cambian otras cosas: esto es lo que coincidió, no lo que lo causó."
    ),
    "Outer front claws": "Pezuñas externas anteriores",
    "Outer hind claws": "Pezuñas externas posteriores",
    "Prices are assumptions, of other people's herds unless given for this one. Cost is cases times price, with the "
    "doubt of both; it is not in this herd's books.": (
        "Los precios son supuestos, de rebaños ajenos si no se dieron para este. El coste es casos por precio, con la "
        "duda de ambos; no figura en las cuentas de este rebaño."
    ),
    "Published figures and other farms are context, never a pass mark: herds, trimmers and years differ.": (
        "Las cifras publicadas y las demás explotaciones son contexto, nunca un aprobado: rebaños, podólogos y años "
        "difieren."
    ),
    "Published, other people's herds": "Publicado, rebaños ajenos",
    "Readings": "Medidas",
    "Recheck asked for": "Revisión pedida",
    "Referred to the veterinarian at a visit": "Remitida al veterinario en una visita",
    "Remarks of the trimmer": "Observaciones del podólogo",
    "Report on the feet of the herd": "Informe sobre los pies del rebaño",
    "Same lesion on the same foot keeps coming back": "La misma lesión vuelve una y otra vez en el mismo pie",
    "Same lesion twice or more on a foot within a year": "La misma lesión dos o más veces en un pie en un año",
    "Same season last year": "Misma época del año pasado",
    "Saved if halved": "Ahorro si se reduce a la mitad",
    "Scored": "Puntuadas",
    "Severely lame": "Cojera grave",
    "Severely lame when last scored": "Cojera grave en la última puntuación",
    "Share": "Proporción",
    "Share of claws": "Proporción de pezuñas",
    "Share of cows": "Proporción de vacas",
    "Share of scorings lame and severely lame in each month, with {level} intervals. Lame is 3 or more on the 1 to 5 "
    "scale, 2 or more on the 0 to 3 scale; severely lame is 4 or more, and 3.": (
        "Proporción de puntuaciones de cojera y de cojera grave en cada mes, con intervalos del {level}. Cojera es 3 o "
        "más en la escala de 1 a 5, 2 o más en la de 0 a 3; cojera grave es 4 o más, y 3."
    ),
    "Share of scorings lame, every month on record, with the limits of the months they rest on; a large diamond is a "
    "month with a signal. A signal says that something is unlike before, not what.": (
        "Proporción de puntuaciones de cojera, todos los meses registrados, con los límites de los meses en que se "
        "apoyan; un rombo grande es un mes con señal. Una señal dice que algo es distinto de antes, no qué."
    ),
    "Shedding": "Muda",
    "Signals": "Señales",
    "Sole thickness": "Grosor de suela",
    "Stage of natural shedding": "Fase de la muda natural",
    "That is clearly less than the {past} of the twelve months before": (
        "Es claramente menos que el {past} de los doce meses anteriores"
    ),
    "That is clearly more than the {past} of the twelve months before": (
        "Es claramente más que el {past} de los doce meses anteriores"
    ),
    "That is not clearly different from the {past} of the twelve months before": (
        "No es claramente distinto del {past} de los doce meses anteriores"
    ),
    "The feet from below. Numbers are cows with a lesion in that zone; the darker, the larger their share. Skin "
    "between the claws belongs to the foot.": (
        "Los pies desde abajo. Los números son vacas con lesión en esa zona; cuanto más oscura, mayor su proporción. "
        "La piel entre las pezuñas pertenece al pie."
    ),
    "The four feet with the cows that have a lesion in each zone. Most: {what}.": (
        "Los cuatro pies con las vacas que tienen lesión en cada zona. Las que más: {what}."
    ),
    "The lists diagnose nothing; the veterinarian's word goes before them.": (
        "Las listas no diagnostican nada; la palabra del veterinario va por delante."
    ),
    "The newest report on the feet of the herd of {farm} is attached.": (
        "Se adjunta el informe más reciente sobre los pies del rebaño de {farm}."
    ),
    "There is no whole-herd visit on record: nothing can be said about how common lesions are.": (
        "No hay ninguna visita a todo el rebaño: nada puede decirse de lo frecuentes que son las lesiones."
    ),
    "There is no whole-herd visit to hold beside other herds.": (
        "No hay ninguna visita a todo el rebaño que poner junto a otros rebaños."
    ),
    "There is no whole-herd visit up to {day}, so visits cannot be compared.": (
        "No hay ninguna visita a todo el rebaño hasta el {day}, así que no pueden compararse visitas."
    ),
    "Thin sole, and lame": "Suela fina, y coja",
    "Thin soles": "Suelas finas",
    "This report says what was recorded and what it goes together with. It diagnoses nothing and names no treatment; "
    "association is not cause. Ask your veterinarian about a severely lame cow, an interdigital phlegmon or other "
    "deep infection, and a case that keeps coming back.": (
        "Este informe dice lo que se registró y con qué coincide. No diagnostica nada ni nombra tratamiento alguno; "
        "asociación no es causa. Pregunte a su veterinario por una vaca con cojera grave, un flemón interdigital u "
        "otra infección profunda, y un caso que vuelve una y otra vez."
    ),
    "This visit": "Esta visita",
    "This visit against earlier ones": "Esta visita frente a las anteriores",
    "This visit, of {n}": "Esta visita, de {n}",
    "To recheck": "Para revisar",
    "Toe angle, degrees": "Ángulo de la punta, grados",
    "Toe broken off far beyond the line, and lame": "Punta rota muy por encima de la línea, y coja",
    "Toe length as found": "Longitud de la punta al llegar",
    "Toes broken off": "Puntas rotas",
    "Together": "En total",
    "Too few cows were looked at to compare with {visit}.": "Se vieron muy pocas vacas para comparar con {visit}.",
    "Too few were scored to compare with the twelve months before.": (
        "Se puntuaron muy pocas para comparar con los doce meses anteriores."
    ),
    "What changed on the farm": "Qué cambió en la explotación",
    "What lesions may cost": "Lo que pueden costar las lesiones",
    "Why": "Por qué",
    "and": "y",
    "inches": "pulgadas",
    "interval not known": "intervalo desconocido",
    "lame": "cojas",
    "lower limit": "límite inferior",
    "mm": "mm",
    "none": "ninguna",
    "not known": "no se sabe",
    "odds ratio {ratio}, {low} to {high}, season held alike": (
        "razón de momios {ratio}, de {low} a {high}, a igual estación"
    ),
    "severely lame": "cojera grave",
    "the last visit": "la última visita",
    "the same season last year": "la misma época del año pasado",
    "to": "a",
    "trims with any lesion {before} before, {after} after": (
        "recortes con alguna lesión: {before} antes, {after} después"
    ),
    "upper limit": "límite superior",
    "{cases} of {n} cows had a lesion at least once: {share}. Visit days {visits}, {dates}.": (
        "{cases} de {n} vacas con alguna lesión al menos una vez: {share}. Días de visita {visits}, {dates}."
    ),
    "{cost} ({low} to {high})": "{cost} (de {low} a {high})",
    "{day}: {what}.": "{day}: {what}.",
    "{foot}{claw}, zone {zone}: {n}": "{foot}{claw}, zona {zone}: {n}",
    "{lesion} ({n}, {share})": "{lesion} ({n}, {share})",
    "{lesion} {now} against {then} of cows ({points} points, {low} to {high})": (
        "{lesion} {now} frente a {then} de las vacas ({points} puntos, de {low} a {high})"
    ),
    "{list}: {n}": "{list}: {n}",
    "{mean} (interval not known)": "{mean} (intervalo desconocido)",
    "{mean} ({low} to {high})": "{mean} (de {low} a {high})",
    "{named} and {n} more, all in the spreadsheet": "{named} y {n} más, todas en la hoja de cálculo",
    "{n} cows": "{n} vacas",
    "of {n}": "de {n}",
    "{what}: not enough months with records to say whether one is unlike the others.": (
        "{what}: no hay bastantes meses con registros para decir si uno es distinto de los demás."
    ),
    "Cows {n}; {method}.": "Vacas {n}; {method}.",
    "Cows that come due for a trim within four weeks besides: {n}.": (
        "Otras vacas a las que toca recorte en cuatro semanas: {n}."
    ),
    "{n} of {of}": "{n} de {of}",
    "Rarer lesions, in the spreadsheet: {n}.": "Lesiones más raras, en la hoja de cálculo: {n}.",
    "{reason}, {n}": "{reason}, {n}",
    "{since} to {until}": "del {since} al {until}",
    "Visit days {visits}, cows {n}, {dates}.": "Días de visita {visits}, vacas {n}, {dates}.",
    "Visit days {visits}, cows {n}, {dates}; {level} intervals ({method}).": (
        "Días de visita {visits}, vacas {n}, {dates}; intervalos del {level} ({method})."
    ),
    "{what}: no month is unlike those the limits rest on.": (
        "{what}: ningún mes es distinto de aquellos en que se apoyan los límites."
    ),
    "{what}: months unlike those the limits rest on: {n}; the newest: {named}.": (
        "{what}: meses distintos de aquellos en que se apoyan los límites: {n}; los últimos: {named}."
    ),
}

SPANISH: dict[str, str] = {**_OWN, **SPANISH_OF_COLUMNS, **SPANISH_OF_TRADE, **SPANISH_OF_MEASURES}
