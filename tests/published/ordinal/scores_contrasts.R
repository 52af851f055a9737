# Chosen contrasts and equivalence of scores and counts in test_scores.py.
# R 4.2.2 with ordinal 2022.11-16 and emmeans; run beside the csv files, writes scores_contrasts.json to stdout.
suppressMessages({library(ordinal); library(emmeans)})
num <- function(x) paste0("[", paste(sprintf("%.10g", x), collapse = ", "), "]")

wine <- read.csv("wine_clm_clmm.csv")
wine$rating <- factor(wine$rating, ordered = TRUE)
m <- clm(rating ~ temp + contact, data = wine)
mean_score <- as.data.frame(contrast(emmeans(m, "temp", mode = "mean.class"), list(d = c(-1, 1))))
latent <- as.data.frame(contrast(emmeans(m, "temp", mode = "latent"), list(d = c(-1, 1))))
# Two one-sided tests of the mean score against 2 scores, from emmeans' own estimate and error.
p <- pnorm((mean_score$estimate - 2) / mean_score$SE)

counts <- read.csv("blisters.csv")
counts$oven <- factor(counts$oven)
g <- glm(blisters ~ oven + hydration + offset(log(pieces)), family = quasipoisson, data = counts)
k <- nlevels(counts$oven)
w <- c(1, rep(-1 / (k - 1), k - 1))
link <- as.data.frame(contrast(emmeans(g, "oven", offset = 0), list(d = w)))
count <- as.data.frame(contrast(regrid(emmeans(g, "oven", offset = 0)), list(d = w)))
cat('{\n  "wine": {"mean": ', num(unlist(mean_score[c("estimate", "SE")])), ', "latent": ',
    num(unlist(latent[c("estimate", "SE")])), ', "p_upper": ', sprintf("%.10g", p), '},\n', sep = "")
cat('  "blisters": {"levels": ["', paste(levels(counts$oven), collapse = '", "'), '"], "link": ',
    num(unlist(link[c("estimate", "SE")])), ', "count": ', num(unlist(count[c("estimate", "SE")])), '}\n}\n', sep = "")
