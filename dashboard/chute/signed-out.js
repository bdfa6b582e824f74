// On the sign-in page after signing out: wipes this browser and tells what was not sent.
import { wipeLoaded } from "./wiping.js";

const told = document.getElementById("unsent");
let words = "";
try {
    const left = await wipeLoaded();
    if (left) words = told.dataset.unsent.replace("{n}", left);
    told.querySelector("a").hidden = !left;
} catch (error) {
    words = told.dataset.failed;
}
told.querySelector("p").textContent = words;
told.hidden = !words;
document.documentElement.dataset.wiped = "yes";
