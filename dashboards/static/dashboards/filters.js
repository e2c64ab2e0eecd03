// Keeps period and days of the filters in step: a day typed means "from and to a day", a period
// chosen empties the days. Without this script days win over the period.

const period = document.getElementById("f-period");
const days = ["f-from", "f-to"].map((id) => document.getElementById(id));

// Where nothing is on record there is no form either.
if (period && days.every(Boolean)) {
  for (const day of days) {
    day.addEventListener("input", () => {
      if (day.value) period.value = "dates";
    });
  }
  period.addEventListener("change", () => {
    if (period.value !== "dates") for (const day of days) day.value = "";
  });
}
