"""What the measures say about records, methods and cautions, in Spanish, by its English template."""

from __future__ import annotations

_METHODS: dict[str, str] = {
    "Beta-binomial shrinkage": "contracción beta-binomial",
    "Laney p'-chart (months differ more than cows explain), moving average with weight 0.2": (
        "gráfico p' de Laney (los meses difieren más de lo que explican las vacas), media móvil con peso 0,2"
    ),
    "Monte Carlo over the number of cases and published prices, seeded": (
        "Monte Carlo sobre el número de casos y los precios publicados, con semilla"
    ),
    "Newcombe interval of a difference of proportions": "intervalo de Newcombe de una diferencia de proporciones",
    "Segmented logistic regression on months, season and kind of visit held alike": (
        "regresión logística segmentada por meses, a igual estación y tipo de visita"
    ),
    "limits scaled for over-dispersion, or Newey-West where that is wider": (
        "límites ampliados por sobredispersión, o de Newey-West donde sean más anchos"
    ),
    "Wilson score interval": "intervalo de Wilson",
    "Cluster-robust interval, cows as clusters": "intervalo robusto por conglomerados, las vacas",
    "Cluster-robust interval, farms as clusters": "intervalo robusto por conglomerados, las explotaciones",
    "cluster-robust interval, cows as clusters": "intervalo robusto por conglomerados, las vacas",
    "cluster-robust interval, farms as clusters": "intervalo robusto por conglomerados, las explotaciones",
    "expected toe length from measured growth": "longitud de punta esperada según el crecimiento medido",
    "funnel limits widened for how unlike farms are": "límites de embudo ampliados por lo dispares que son",
    "logit limits with cows as clusters": "límites logit con las vacas como conglomerados",
    "p-chart (3 standard errors), moving average with weight 0.2": (
        "gráfico p (3 errores estándar), media móvil con peso 0,2"
    ),
    "ratio estimate with cows as clusters": "estimación por razón con las vacas como conglomerados",
}

_SIGNALS: dict[str, str] = {
    "above the upper limit": "por encima del límite superior",
    "below the lower limit": "por debajo del límite inferior",
    "moving average above its limit": "media móvil por encima de su límite",
    "moving average below its limit": "media móvil por debajo de su límite",
    "8 months in a row above the usual": "8 meses seguidos por encima de lo habitual",
    "8 months in a row below the usual": "8 meses seguidos por debajo de lo habitual",
    "share of scorings that were lame": "la proporción de puntuaciones de cojera",
    "share of trims with the lesion": "la proporción de recortes con la lesión",
    "{month}: {rule}.": "{month}: {rule}.",
}

_STAGES: dict[str, str] = {
    "ulcer site": "zona de la úlcera",
    "most of the sole": "casi toda la suela",
    "heel left high, wall standing": "talón alto, pared en pie",
    "only toe and a rim of wall left": "solo quedan punta y borde de pared",
    "complete": "completa",
}

_NOTES: dict[str, str] = {
    "Left out: {kind} visits, {visits} ({trims} cow records).": (
        "No se cuentan: visitas {kind}, {visits} ({trims} registros de vacas)."
    ),
    "Visits of unknown kind left out: {visits} ({trims} cow records); their sheet gives neither the kind of visit "
    "nor the herd size.": (
        "Visitas de tipo desconocido que no se cuentan: {visits} ({trims} registros de vacas); su hoja no da ni el "
        "tipo de visita ni el tamaño del rebaño."
    ),
    "{n} findings do not say which foot, claw or zone they are on and are not in this table.": (
        "{n} hallazgos no dicen en qué pie, pezuña o zona están y no figuran en esta tabla."
    ),
    "A lesion counts as new when it was not recorded {where} in the {gap} days before, at any kind of visit.": (
        "Una lesión cuenta como nueva si no se registró {where} en los {gap} días anteriores, en ninguna visita."
    ),
    "on that cow": "en esa vaca",
    "Cost a case, mean and standard deviation, {currency}: {listed} ({source}). They are other people's herds; give "
    "your own with --price.": (
        "Coste por caso, media y desviación estándar, {currency}: {listed} ({source}). Son rebaños ajenos; dé los "
        "suyos con --price."
    ),
    "Cost a case, as you gave it ({currency}): {listed}.": "Coste por caso, como lo dio ({currency}): {listed}.",
    "Counted is the {words}, month by month; a cow counts once for every time she was looked at.": (
        "Se cuenta {words}, mes a mes; una vaca cuenta cada vez que se la vio."
    ),
    "Farms are pulled towards each other, those with few records most: their own records count for {least:.0f} to "
    "{most:.0f} %.": (
        "Las explotaciones se acercan unas a otras, más las de pocos registros: los propios cuentan del {least:.0f} al "
        "{most:.0f} %."
    ),
    "No difference between before and after can be told from chance: odds ratio {ratio:.2f} ({low:.2f} to "
    "{high:.2f}).": (
        "Ninguna diferencia entre antes y después se distingue del azar: razón de momios {ratio:.2f} (de {low:.2f} a "
        "{high:.2f})."
    ),
    "No month is unlike the baseline.": "Ningún mes es distinto de la referencia.",
    "The change: {what}, from {day} on.": "El cambio: {what}, desde {day}.",
    "The limits rest on {n} months from {first} to {last}, in which the {what} was {share:.0f} %.": (
        "Los límites se apoyan en {n} meses de {first} a {last}, en los que {what} fue del {share:.0f} %."
    ),
    "The model compares with {references}; it is an association within these herds, not a cause.": (
        "El modelo compara con {references}; es una asociación en estos rebaños, no una causa."
    ),
    "The sheet does not state the kind of {n} of the visits; it was worked out from the share of the herd trimmed (80 "
    "% or more is a whole-herd visit).": (
        "La hoja no dice el tipo de {n} de las visitas; se dedujo de la parte del rebaño recortada (80 % o más es "
        "visita a todo el rebaño)."
    ),
    "There is less than a year of months on one side, so no change of slope was fitted.": (
        "En un lado hay menos de un año de meses, así que no se ajustó cambio de pendiente."
    ),
    "There is no whole-herd visit before this one.": "No hay visita a todo el rebaño anterior a esta.",
    "There is no whole-herd visit within {days} days of a year earlier.": (
        "No hay visita a todo el rebaño a menos de {days} días de un año antes."
    ),
    "The last visit is also that of the same season last year.": (
        "La última visita es también la de la misma época del año pasado."
    ),
    "Today is taken to be {day}; {n} cows are in the herd.": "Se toma {day} como hoy; hay {n} vacas en el rebaño.",
    "What comes due by {day} is on the list.": "En la lista está lo que vence hasta el {day}.",
    "Whole-herd visits alone are too few months, so part-herd and lame-cow visits are used too, each kind of visit "
    "held alike. Shares before and after are of all of them; the lines are drawn for the mean mix of visits, and a "
    "month with more lame-cow visits than usual lies above them.": (
        "Las visitas a todo el rebaño solas son muy pocos meses, así que se usan también las parciales y por vaca "
        "coja, a igual tipo de visita. Las proporciones de antes y después son de todas ellas; las líneas se trazan "
        "para la mezcla media de visitas, y un mes con más visitas por vaca coja de lo usual queda por encima."
    ),
}

_SOURCES: dict[str, str] = {
    "Read from {files}.": "Leído de {files}.",
    "Trimmed by {people}.": "Recortado por {people}.",
    "Scored by {people}.": "Puntuado por {people}.",
    " and {n} more": " y {n} más",
}

_CAUTIONS: dict[str, str] = {
    "A signal says that something is unlike before, not what. About one herd in ten gives one in two years though "
    "nothing changed; a yearly season gives more.": (
        "Una señal dice que algo es distinto de antes, no qué. Uno de cada diez rebaños da una en dos años sin que "
        "nada cambie; una estación anual da más."
    ),
    "Cows were trimmed {most:.1f} times on average in {often} but {least:.1f} times in {seldom}; more looks find more "
    "lesions. Counting per trim is fairer here.": (
        "Las vacas se recortaron {most:.1f} veces de media en {often} y {least:.1f} en {seldom}; más miradas hallan "
        "más lesiones. Contar por recorte es más justo aquí."
    ),
    "Expected toe lengths carry on what was last read, or what a trim leaves as a rule, at the growth of the housing "
    "and season she stood in, and will stand in if the year goes as the last. They say when to look; what comes off is "
    "decided at the foot.": (
        "Las longitudes esperadas continúan lo último medido, o lo que un recorte suele dejar, al crecimiento del "
        "alojamiento y la estación en que estuvo, y en que estará si el año va como el anterior. Dicen cuándo mirar; "
        "lo que se quita se decide ante el pie."
    ),
    "Farms differ in housing, season of visits, trimmer and age of cows; a place in this table is not a mark, and "
    "neither are the published figures, which are other people's herds.": (
        "Las explotaciones difieren en alojamiento, época de visitas, podólogo y edad de las vacas; un puesto en esta "
        "tabla no es una nota, ni lo son las cifras publicadas, que son de rebaños ajenos."
    ),
    "Few findings carry a zone; the picture may change with the next visit.": (
        "Pocos hallazgos llevan zona; la imagen puede cambiar con la próxima visita."
    ),
    "Horn is measured on some cows and some claws; these figures say how it is on those, and on the herd only as far "
    "as the cows measured are like the others.": (
        "El casco se mide en algunas vacas y pezuñas; estas cifras hablan de esas, y del rebaño solo en la medida en "
        "que las medidas se parezcan a las demás."
    ),
    "Many cows were at more than one of these visits, and several lesions are compared at once: the intervals of the "
    "differences take the visits for independent, and one clear difference among many is a hint, not a proof.": (
        "Muchas vacas estuvieron en más de una de estas visitas, y se comparan varias lesiones a la vez: los "
        "intervalos de las diferencias toman las visitas por independientes, y una diferencia clara entre muchas es "
        "un indicio, no una prueba."
    ),
    "Money here is an assumption times a count. It does not tell what any one cow cost, and a cow with two lesions may "
    "cost less than both together.": (
        "El dinero aquí es un supuesto por un recuento. No dice lo que costó una vaca concreta, y una vaca con dos "
        "lesiones puede costar menos que ambas juntas."
    ),
    "No claw was measured twice here, so toes are carried on at the published rate; doubt is wide.": (
        "Aquí ninguna pezuña se midió dos veces, así que las puntas continúan al ritmo publicado; la duda es amplia."
    ),
    "Not enough to say what shedding goes with: {reason}": "No basta para decir con qué va la muda: {reason}",
    "Not enough to say: no horn measurement was recorded for this choice of farms, dates and groups.": (
        "No basta para decirlo: no se registró ninguna medida de casco para esta elección."
    ),
    "Not enough to say: no new case in this period.": "No basta para decirlo: ningún caso nuevo en este periodo.",
    "Not enough to say: no cow is known to be in the herd on that day.": (
        "No basta para decirlo: no se sabe de ninguna vaca en el rebaño ese día."
    ),
    "Not enough to say: {reason}": "No basta para decirlo: {reason}",
    "Nothing was recorded for this choice of farms, dates and groups.": "Nada se registró para esta elección.",
    "Nothing of this kind was found on any of the cows looked at: {n}.": (
        "Nada de este tipo se halló en ninguna de las vacas examinadas: {n}."
    ),
    "Cows looked at: {n}. Not enough to say much about the herd; the intervals show how wide the doubt is.": (
        "Vacas examinadas: {n}. No basta para decir mucho del rebaño; los intervalos muestran lo amplia que es la duda."
    ),
    "There is no visit of the kind asked for in this period, but there are others; count all visits to see them, and "
    "remember that they overstate how common lesions are.": (
        "En este periodo no hay visitas del tipo pedido, pero sí otras; cuente todas para verlas, y recuerde que "
        "exageran lo frecuentes que son las lesiones."
    ),
    "Published shares are of cows at one trimming, and many of these cows were trimmed more than once; compare the "
    "published figures with a count per trim.": (
        "Las proporciones publicadas son de vacas en un recorte, y muchas de estas se recortaron más de una vez; "
        "compare las cifras publicadas con un recuento por recorte."
    ),
    "Shedding can run its course and start again within one season, so a foot at stage 0 late in the season may be "
    "before its cycle or after it.": (
        "La muda puede completarse y empezar de nuevo en una misma temporada, así que un pie en fase 0 al final puede "
        "estar antes de su ciclo o después."
    ),
    "The limits are starting points for a mature cow, never a verdict: how much horn comes off is decided at the "
    "foot.": (
        "Los límites son puntos de partida para una vaca adulta, nunca un veredicto: cuánto casco se quita se decide "
        "ante el pie."
    ),
    "The list says what was recorded and what comes due; it diagnoses nothing. Where it says so, ask your "
    "veterinarian, whose word goes before this list.": (
        "La lista dice lo registrado y lo que vence; no diagnostica nada. Donde lo diga, pregunte a su veterinario, "
        "cuya palabra va por delante de esta lista."
    ),
    "There is no price for {lesions}; their cost is missing, not nothing, and the total is too low.": (
        "No hay precio para {lesions}; su coste falta, no es nulo, y el total se queda corto."
    ),
    "These figures include {kinds} visits. Lame cows are brought first to such visits, so they overstate how common "
    "lesions are in the herd (Solano and co-authors 2016).": (
        "Estas cifras incluyen visitas {kinds}. A tales visitas se llevan primero las vacas cojas, así que exageran lo "
        "frecuentes que son las lesiones en el rebaño (Solano y coautores 2016)."
    ),
    "Too few were looked at to say much about {groups}.": "Se vieron muy pocas para decir mucho de {groups}.",
    "What went with the change need not have come from it: anything else that changed about then is in these "
    "figures.": (
        "Lo que acompañó al cambio no tiene por qué venir de él: cuanto cambió por entonces está en estas cifras."
    ),
    "With {n} farms how unlike farms are is poorly known; ranks may change.": (
        "Con {n} explotaciones se sabe mal lo dispares que son; los puestos pueden cambiar."
    ),
    "{lesion} costs most: {cost} {currency} over the period ({low} to {high}). Halving its new cases would save about "
    "half of that, before what halving them costs.": (
        "{lesion} cuesta lo más: {cost} {currency} en el periodo (de {low} a {high}). Reducir a la mitad sus casos "
        "nuevos ahorraría cerca de la mitad, sin contar lo que cuesta reducirlos."
    ),
    "{n} of these cows have no reading since their last trim; for them what a trim leaves as a rule is assumed.": (
        "{n} de estas vacas no tienen medida desde su último recorte; para ellas se supone lo que un recorte suele "
        "dejar."
    ),
    "{n} cows are not in a register; they are taken to be in the herd because they were seen within a year and a "
    "half.": (
        "{n} vacas no están en un registro; se las tiene por presentes porque se vieron en el último año y medio."
    ),
    "Some periods mix the 1-5 and 0-3 scales: only lame or not lame is compared there, and no mean is given.": (
        "Algunos periodos mezclan las escalas 1-5 y 0-3: ahí solo se compara coja o no coja, y no se da media."
    ),
    "{farms}: {side} what luck and the usual spread of farms explain.": (
        "{farms}: {side} de lo que explican el azar y la dispersión habitual de las explotaciones."
    ),
    "Not enough to say about {groups}: fewer than {few} cows measured.": (
        "No basta para decir algo de {groups}: menos de {few} vacas medidas."
    ),
    "{n} groups have fewer than {few} cows measured.": ("Grupos con menos de {few} vacas medidas: {n}."),
    "Some terms of the model nearly go together here, such as season and weeks on grass, so their odds "
    "ratios are far apart and mean little one by one.": (
        "Algunos términos del modelo casi van juntos aquí, como la estación y las semanas en pasto, así que "
        "sus razones de momios dicen poco por separado."
    ),
    "Not enough to say about {n} of {all} groups: fewer than {few} cows have a shed stage.": (
        "No basta para decir algo de {n} de {all} grupos: menos de {few} vacas con fase de muda."
    ),
    "{n} rows name horn as shed that should still stand at the stage they give; look at them first.": (
        "{n} filas dan por mudado casco que en su fase debería seguir en pie; mírelas primero."
    ),
    "After the change the odds of a case are {ratio:.2f} times those before ({low:.2f} to {high:.2f}), "
    "season and kind of visit held alike.": (
        "Tras el cambio los momios de un caso son {ratio:.2f} veces los de antes (de {low:.2f} a {high:.2f}), "
        "a igual estación y tipo de visita."
    ),
    "Not enough to say: fewer than {n} cows were looked at before the change or after it.": (
        "No basta para decirlo: se vieron menos de {n} vacas antes del cambio o después."
    ),
    "There are too few months to fit a trend; a trend would pass for an effect of the change.": (
        "Hay muy pocos meses para ajustar una tendencia; una tendencia pasaría por efecto del cambio."
    ),
    "Months differ among themselves more than cows explain; the intervals allow for it.": (
        "Los meses difieren entre sí más de lo que explican las vacas; los intervalos lo tienen en cuenta."
    ),
    "currency not stated": ("moneda sin indicar"),
    "your price": ("su precio"),
    "The prices come without a currency and year; give them with --currency, such as EUR 2026.": (
        "Los precios vienen sin moneda ni año; délos con --currency, como EUR 2026."
    ),
    "The baseline has {n} months; with less than a year of months a season can look like a signal.": (
        "La referencia tiene {n} meses; con menos de un año de meses una estación puede parecer una señal."
    ),
    "All months are in the baseline; none is left to hold against it.": (
        "Todos los meses están en la referencia; no queda ninguno que comparar con ella."
    ),
    "Many cows are in both periods and several things are compared at once; take one clear difference "
    "among many as a hint, not a proof.": (
        "Muchas vacas están en ambos periodos y se comparan varias cosas a la vez; una diferencia clara entre "
        "muchas es un indicio, no una prueba."
    ),
    "Some groups were met on one farm only. Their intervals speak of that farm's cows and not of other "
    "farms, so they look narrower than those of groups met on several.": (
        "Algunos grupos se vieron en una sola explotación. Sus intervalos hablan de esas vacas y no de otras, "
        "así que parecen más estrechos."
    ),
    "on that claw": ("en esa pezuña"),
    "{n} of the cases were recorded in the first {gap} days of a farm's records and may have been there for long; the "
    "first visits make too many cases look new.": (
        "{n} de los casos se registraron en los primeros {gap} días de registros y pueden ser antiguos; las primeras "
        "visitas hacen parecer nuevos demasiados casos."
    ),
    "Cases found only between these visits, at lame-cow calls, are not counted; with all visits there are more.": (
        "No se cuentan los casos hallados solo entre estas visitas, en avisos por vaca coja; con todas hay más."
    ),
    "A group is wholly at one end of the scale.": "Un grupo está entero en un extremo de la escala.",
    "Every unit is at the same stage.": "Todo está en la misma fase.",
    "The spread of farms needs at least three of them.": "Para su dispersión hacen falta al menos tres explotaciones.",
    "Where there is one cow only, how alike her feet or trims are had to be assumed for the interval.": (
        "Donde hay una sola vaca, el parecido de sus pies o recortes hubo de suponerse para el intervalo."
    ),
    "Some intervals rest on fewer than {n} cows looked at more than once; they are rough.": (
        "Algunos intervalos se apoyan en menos de {n} vacas vistas más de una vez; son aproximados."
    ),
}

SPANISH_OF_MEASURES: dict[str, str] = {**_METHODS, **_SIGNALS, **_STAGES, **_NOTES, **_SOURCES, **_CAUTIONS}
